"""Photographs through their pages: sent, shown side by side, taken off, put on the card."""

import io

import pytest
from PIL import Image
from pypdf import PdfReader
from sqlalchemy import select

from app.store.tables import Photo
from tests.lines import CLOSE_LINE, OPEN_LINE
from tests.photo_cases import SVG, photo


@pytest.fixture
def send(browser, client):
    """Send files with the form of a photograph page; gives the answer."""

    def send_files(page, files, **typed):
        browser.open(f"{page}/photos")
        data = {"token": browser.page.select_one("[name=token]")["value"]}
        data |= {"moment": "drop_off", "view": "tip", "caption": "", **typed}
        parts = [("files", (name, content, "image/jpeg")) for name, content in files]
        return client.post(f"{page}/photos", data=data, files=parts)

    return send_files


def photos_in(sessions):
    with sessions.read() as session:
        return list(session.scalars(select(Photo).order_by(Photo.id)))


def test_several_photographs_are_kept_under_generated_names_and_shown(
    browser, client, take_in, send, sessions, book
):
    job = take_in()
    files = [("../../evil name.jpg", photo()), ("IMG_2.png", photo("PNG"))]
    assert send(f"/jobs/{job}", files, caption="chip at <b>left</b>").status_code == 200
    kept = photos_in(sessions)
    names = sorted(path.name for path in (book / "photos").iterdir())
    assert names == sorted(f"{one.name}{end}.jpg" for one in kept for end in ("", "-small"))
    assert "evil" not in "".join(names)
    browser.open(f"/jobs/{job}")
    shown = browser.page.select("#photos figure img")
    assert [one["src"] for one in shown] == ["/photos/1/small", "/photos/2/small"]
    assert "chip at <b>left</b>" in browser.text
    for address in ("/photos/1", "/photos/1/small"):
        answer = client.get(address)
        assert answer.headers["content-type"] == "image/jpeg"
        Image.open(io.BytesIO(answer.content)).load()
        again = client.get(address, headers={"If-None-Match": answer.headers["etag"]})
        assert again.status_code == 304


def test_before_and_after_stand_side_by_side_on_the_job_and_the_piece(browser, take_in, send):
    job = take_in()
    send(f"/jobs/{job}", [("a.jpg", photo())])
    send(f"/jobs/{job}", [("b.jpg", photo())], moment="return")
    send(f"/jobs/{job}", [("c.jpg", photo())], view="table")
    send("/pieces/1", [("d.jpg", photo())], view="window", moment="bench")
    for page, views in ((f"/jobs/{job}", 2), ("/pieces/1", 3)):
        browser.open(page)
        pairs = browser.page.select("#photos .photo-pair")
        assert len(pairs) == views
        sides = [
            [one["src"] for one in side.select("img")] for side in pairs[0].select(":scope > div")
        ]
        assert sides == [["/photos/1/small"], ["/photos/2/small"]]


def test_what_cannot_be_kept_is_named_and_the_others_are_kept(take_in, send, sessions):
    job = take_in()
    files = [("good.jpg", photo()), ("drawing.svg", SVG), ("cut.jpg", photo()[:1500])]
    answer = send(f"/jobs/{job}", files, caption="as it came")
    assert answer.status_code == 422
    assert "“drawing.svg” is no photograph" in answer.text
    assert "“cut.jpg” is damaged or was cut short" in answer.text
    assert "1 of 3 were kept" in answer.text
    assert 'value="as it came"' in answer.text
    assert len(photos_in(sessions)) == 1


def test_a_form_without_a_photograph_says_so_and_keeps_the_caption(take_in, send):
    answer = send(f"/jobs/{take_in()}", [], caption="the chip")
    assert answer.status_code == 422
    assert "Choose at least one photograph" in answer.text
    assert 'value="the chip"' in answer.text


def test_a_caption_is_corrected_and_a_photograph_taken_off_and_brought_back(
    browser, take_in, send, sessions, book
):
    job = take_in()
    send(f"/jobs/{job}", [("a.jpg", photo())])
    browser.open(f"/jobs/{job}/photos")
    browser.send("form[action='/photos/1']", caption="a hair crack", view="chips")
    assert "Chips and marks" in browser.text
    assert "a hair crack" in browser.text
    browser.client.post("/photos/1/strike", data={"job": str(job)})
    browser.open(f"/jobs/{job}")
    assert not browser.page.select("#photos figure")
    assert len(list((book / "photos").iterdir())) == 2
    browser.client.post("/photos/1/strike", data={"job": str(job)})
    browser.open(f"/jobs/{job}")
    assert browser.page.select("#photos figure")
    assert photos_in(sessions)[0].struck_at is None


def test_chosen_photographs_are_on_the_return_card_and_stay_as_printed(
    browser, client, take_in, read_line, send, book
):
    job = take_in()
    read_line(job, CLOSE_LINE)
    read_line(job, OPEN_LINE, role="as_returned")
    send(f"/jobs/{job}", [("a.jpg", photo())], on_card="yes", caption="worn tip rail")
    send(f"/jobs/{job}", [("b.jpg", photo(size=(400, 800)))], moment="return", on_card="yes")
    browser.open(f"/jobs/{job}/papers/return_card")
    browser.send("main form")
    paper = browser.path
    page = f"{paper}/page-2.svgz"
    first = client.get(page).content
    assert first.count(b"<image") == 2
    words = browser.page.select_one("iframe")["src"]
    assert "worn tip rail" in client.get(words).text
    for path in (book / "photos").iterdir():
        path.unlink()
    assert client.get(page).content == first
    reader = PdfReader(io.BytesIO(client.get(f"{paper}/paper.pdf").content))
    assert len(reader.pages) == 2
    assert len(reader.pages[1].images) == 2
    assert "worn tip rail" in reader.pages[1].extract_text()
    # the files are gone: a card made now shows bare frames, and is made all the same
    assert client.get(f"/jobs/{job}/papers/return_card").status_code == 200
    assert client.get("/photos/1").status_code == 404


def test_only_the_photograph_pages_take_a_large_body(client, take_in):
    job = take_in()
    large = b"x" * 1_500_000
    assert client.post(f"/jobs/{job}/photos", content=large).status_code != 413
    assert client.post(f"/jobs/{job}/notes", content=large).status_code == 413
    assert client.post(f"/jobs/{job}/photos/1", content=large).status_code == 413
    vast = {"Content-Length": "65000000"}
    assert client.post(f"/jobs/{job}/photos", content=b"", headers=vast).status_code == 413


@pytest.mark.parametrize("address", ["/photos/9", "/photos/9/small", "/jobs/9/photos"])
def test_a_photograph_that_is_not_there_is_said_to_be_not_there(client, address):
    answer = client.get(address)
    assert answer.status_code == 404
    assert "There is no" in answer.text
