"""The shop's mark: what is drawn in a file is kept and printed, nothing else of it."""

import io

import pytest
from PIL import Image

from app.core.shop.marks import MOST_BYTES, MarkRefused, clean_mark
from app.store.records.shop import get_mark
from app.web.shop.marks import make_mark
from tests.render.hostile import faults_of_svg

SVG = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
DRAWN = (
    f'<svg {SVG} viewBox="0 0 40 20"><path d="M2 18 Q20 2 38 18" stroke="#111" fill="none"/></svg>'
)
HOSTILE = f"""<svg {SVG} viewBox="0 0 40 20" onload="alert(1)"><script>alert(2)</script>
<style>@import url(http://far.example/x.css);</style>
<image href="http://far.example/x.png" width="9" height="9"/>
<a href="javascript:alert(3)"><text x="1" y="9">no</text></a>
<foreignObject><p>no</p></foreignObject>
<use href="http://far.example/x.svg#a"/><animate attributeName="x" to="9"/>
<rect width="9" height="9" fill="url(http://far.example/y.svg#b)" onclick="alert(4)"
 style="fill:url(//far.example/z)"/><circle id="dot" cx="20" cy="10" r="4" fill="#933"/>
<use xlink:href="#dot" x="8"/></svg>"""


def png(size=(900, 300)) -> bytes:
    stream = io.BytesIO()
    Image.new("RGBA", size, (140, 30, 30, 120)).save(stream, format="PNG")
    return stream.getvalue()


def test_only_what_is_drawn_is_kept():
    kept = clean_mark(HOSTILE.encode())
    assert faults_of_svg(kept) == []
    assert "far.example" not in kept
    assert "alert" not in kept
    assert 'xlink:href="#dot"' in kept or 'href="#dot"' in kept
    assert 'r="4"' in kept


def test_a_drawing_that_draws_itself_a_million_times_is_drawn_once():
    steps = "".join(
        f'<g id="g{n}"><use href="#g{n - 1}"/><use href="#g{n - 1}" x="1"/></g>'
        for n in range(1, 40)
    )
    clips = "".join(
        f'<clipPath id="c{n}"><rect clip-path="url(#c{n - 1})" width="9" height="9"/>'
        f'<rect clip-path="url(#c{n - 1})" width="9" height="9"/></clipPath>'
        for n in range(1, 40)
    )
    text = f'<svg {SVG} viewBox="0 0 9 9"><rect id="g0" width="9" height="9"/>{steps}'
    text += f'<defs>{clips}</defs><rect clip-path="url(#c39)" width="9" height="9"/></svg>'
    kept = clean_mark(text.encode())
    assert kept.count("<ns0:use") + kept.count("<use") == 80 - 2
    assert 'href="#g0"' in kept
    assert 'href="#g1"' not in kept
    assert "url(#c39)" not in kept
    assert make_mark(text.encode())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"GIF89a" + b"0" * 99, "no photograph that can be read"),
        (b"<svg><path/></svg>", "not an SVG drawing"),
        (b"<svg", "no drawing that can be read"),
        (f"<svg {SVG}><path d='M0 0'/></svg>".encode(), "how large"),
        (f'<!DOCTYPE a [<!ENTITY b "c">]><svg {SVG}>&b;</svg>'.encode(), "entities"),
        (b"<svg" + b" " * MOST_BYTES, "larger than"),
        (png()[:400], "damaged"),
        (f'<svg {SVG} viewBox="0 0 9 9">{"<g>" * 60}{"</g>" * 60}</svg>'.encode(), "nested deeper"),
    ],
)
def test_what_is_no_mark_is_refused_in_words(content, words):
    with pytest.raises(Exception, match=words) as refused:
        make_mark(content)
    assert type(refused.value).__name__ in {"MarkRefused", "PhotoRefused"}
    assert issubclass(MarkRefused, Exception)


@pytest.mark.parametrize("content", [DRAWN.encode(), HOSTILE.encode(), png()])
def test_a_mark_is_uploaded_shown_printed_and_taken_off(
    browser, client, sessions, take_in, content
):
    job = take_in()
    address = f"/jobs/{job}/papers/return_card/paper.pdf"
    bare = client.get(address).content
    browser.open("/settings/mark")
    assert not browser.page.select("img")
    answer = client.post("/settings/mark", files={"file": ("mark", content)}, data={"do": "keep"})
    assert answer.status_code == 200
    assert "The mark is kept" in answer.text
    with sessions.read() as session:
        kept = get_mark(session)
    shown = client.get("/settings/mark/mark.svg")
    assert shown.headers["content-type"] == "image/svg+xml"
    assert shown.text == kept
    marked = client.get(address).content
    assert marked != bare
    assert "Mark of" in browser.open(f"/jobs/{job}/papers/return_card").get_text()
    browser.open("/settings/mark")
    browser.send("main form", do="remove")
    assert client.get(address).content == bare
    assert client.get("/settings/mark/mark.svg").status_code == 404


def test_a_file_that_is_no_mark_leaves_the_one_there_is(client):
    client.post("/settings/mark", files={"file": ("mark.svg", DRAWN.encode())})
    kept = client.get("/settings/mark/mark.svg").text
    for files in ({"file": ("x.svg", b"<svg")}, {"file": ("", b"")}, None):
        answer = client.post("/settings/mark", files=files, data={"do": "keep"})
        assert answer.status_code == 422
        assert client.get("/settings/mark/mark.svg").text == kept
