"""Every form, filled with anything: no error of ours, nothing lost, nothing changed if refused."""

import string

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from app.web.app import create_app
from app.web.settings import Settings
from tests.books import HEADERS, hash_of
from tests.conftest import Clock, form_values
from tests.faults.asking import asking
from tests.faults.forms import Place, crawl
from tests.lines import CLOSE_LINE

# Words and numbers that trip programs: signs, scripts, formulas, other alphabets, extremes.
NASTY = (
    "", " ", "0", "-1", "1e308", "nan", "½", "22½", "1,234.5", "9" * 400, "9" * 30, "x" * 6000,
    "<script>alert(1)</script>", "'; DROP TABLE job; --", "=1+1", "+44 1632", "@cell", "{{7*7}}",
    "%s%n", "../../etc/passwd", "\u202egnihtemos", "ﷺ", "👩🏽‍🔧", "İ", "a\r\nb", "\x00", "\x1b[31m",
    "2026-02-30", "31.12.1899", "0000-00-00", "2026-11-25", CLOSE_LINE, "1/0", "∞", "١٢",
)  # fmt: skip
LEFT_OUT = {
    "/first-start/made-up",  # opens a second server
    "/login",
    "/logout",
}
TYPED = {"text", "textarea", "date", "hidden"}

anything = st.one_of(
    st.sampled_from(NASTY),
    st.text(max_size=40),
    st.text(alphabet=string.digits + ".,/- ½¼", max_size=12),
    st.decimals(allow_nan=False, places=3).map(str),
    st.dates().map(str),
)


@pytest.fixture(scope="module")
def client(whole_book, tmp_path_factory):
    import shutil

    book = tmp_path_factory.mktemp("forms") / "book"
    shutil.copytree(whole_book, book)
    app = create_app(Settings(book=book, now=Clock()))
    with TestClient(
        app, base_url="http://127.0.0.1", headers=HEADERS, raise_server_exceptions=False
    ) as made:
        yield made


@st.composite
def filled(draw, place: Place):
    """Fill a form: each field as it stands, left out, or with anything."""
    data: dict[str, list[str]] = {}
    for name, kind, value in place.fields:
        way = draw(st.sampled_from(("as it stands", "as it stands", "anything", "anything", "out")))
        if name == "token":
            data.setdefault(name, []).append(draw(st.text(string.ascii_letters, max_size=70)))
        elif name == "folder":
            continue  # a folder on this machine's own disk: tested by itself
        elif way == "anything" and kind not in {"unticked", "button"}:
            data.setdefault(name, []).append(draw(anything))
        elif way == "as it stands" and kind not in {"unticked", "submit", "button"}:
            data.setdefault(name, []).append(value)
    buttons = [(name, value) for name, kind, value in place.fields if kind == "button"]
    if buttons:
        name, value = draw(st.sampled_from(buttons))
        data[name] = [value]
    return data


def lines(text: str) -> str:
    """Compare as browsers send: line ends are all one, and none stands first or last."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def find_lost(place: Place, data: dict[str, list[str]], page: BeautifulSoup) -> list[str]:
    """List the fields whose text the answer no longer holds anywhere in a form."""
    held = {(name, lines(value)) for form in page.select("main form") for name, value in
            form_values(form)}  # fmt: skip
    kinds = {name: kind for name, kind, _ in place.fields}
    return [
        f"{name}={value!r}"
        for name, values in data.items()
        for value in values[-1:]
        if kinds[name] in {"text", "textarea", "date"} and lines(value)
        and "\x00" not in value and (name, lines(value)) not in held
    ]  # fmt: skip


def check_form(client, database, place: Place, data: dict[str, list[str]]) -> int:
    """Send one form; gives the status."""
    # A refused grid of readings is kept as a draft; no record changes.
    before = hash_of(database, but=("draft",))
    answer = client.post(place.action, data=data, follow_redirects=False)
    assert answer.status_code < 500, (place.action, data, answer.text[:2000])
    assert "Traceback" not in answer.text
    if answer.status_code in {404, 409, 413, 422}:
        assert hash_of(database, but=("draft",)) == before, (place.action, data)
    if answer.status_code == 422:
        page = BeautifulSoup(answer.text, "html.parser")
        assert not find_lost(place, data, page), (place.action, data)
        assert page.select_one(".problems, .asks"), (place.action, data)
    return answer.status_code


@pytest.mark.long
def test_every_form_filled_with_anything_answers_in_words_and_loses_nothing(client):
    pages, places = crawl(client)
    places = [one for one in places if one.kind not in LEFT_OUT]
    assert len(pages) > 25
    assert len(places) > 50
    assert {"/batches", "/batches/N/pieces/N/leave", "/jobs/N/charges/payments/N/strike",
            "/photos/N/strike", "/gauges/N/studies/N/adopt", "/drafts/discard",
            "/settings/messages"} <= {one.kind for one in places}  # fmt: skip
    database = client.app.state.settings.book / "book.sqlite3"
    seen: dict[str, set[int]] = {}
    failures: list[str] = []
    for place in places:

        @asking(6)
        @given(data=filled(place))
        def fill(data):
            code = check_form(client, database, place, data)  # noqa: B023 - run at once
            seen.setdefault(place.kind, set()).add(code)  # noqa: B023

        try:
            fill()
        except AssertionError as error:
            failures.append(str(error))
    assert not failures, "\n\n".join(one[:1500] for one in failures)
    # The net is wide enough: most forms were both taken and refused.
    assert sum(303 in codes for codes in seen.values()) > len(seen) // 2


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data; "
                                  "boundary=x", "multipart/form-data", "text/plain", "",
                                  "application/json"])  # fmt: skip
@asking(15)
@given(body=st.one_of(
    st.binary(max_size=200),
    st.binary(max_size=80).map(
        lambda b: b"--x\r\nContent-Disposition: form-data; name=\"note\"\r\n\r\n" + b + b"\r\n--x--"
    ),
    st.binary(max_size=80).map(lambda b: b"note=" + b + b"&%ff=%00&" + b"a=" * 500),
))  # fmt: skip
def test_bytes_that_are_no_form_are_refused_or_taken_never_broken(client, kind, body):
    answer = client.post(
        "/jobs/1/notes", content=body, headers={"Content-Type": kind}, follow_redirects=False
    )
    assert answer.status_code in {303, 400, 422}, answer.text[:500]
    assert "Traceback" not in answer.text
