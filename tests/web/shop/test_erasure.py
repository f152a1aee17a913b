"""A customer's wish to be forgotten: shown first, done once, and gone from every byte."""

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from app.core.shop.erasure import FORGOTTEN_NAME
from app.store.book import erasure as store
from app.store.book.contents import kind_of, list_tables
from app.store.book.naming_texts import FREE_TEXTS
from app.store.tables import Event, Forgetting, Reading, ReadingSet, Slip, SlipFile
from tests.books import rows_of
from tests.lines import CLOSE_LINE
from tests.photo_cases import photo

NAME, PHONE, MAIL = "Quirina Völkermoos-Ypsos", "01632 960877", "quirina@ypsos.example"
TRACES = ("quirina", "völkermoos", "ypsos", "960877", "zwetschgenweg", "harrumphonia")
# Texts that are a code, a number as typed, of the shop itself, or made by the program.
NO_FREE_TEXT = {
    "shop", "message_text", "family_blade_set", "slip", "slip_file", "forgetting",
    "kind", "scale", "typed", "mark_typed", "depth_typed", "quantity", "rail", "role", "stage",
    "material", "family", "instrument_kind", "curve", "told_by", "return_by", "moment", "view",
    "noun", "search_text", "outcome", "joining", "unread_mm",
}  # fmt: skip
WHOLE = {("customer", one) for one in ("name", "phone", "email", "address", "plays")} | {
    ("job", "tracking"), ("photo", "name")}  # fmt: skip


@pytest.fixture
def worked(browser, client, take_in, read_line):
    """Do a job for the person, name them wherever words can be written, and give it back."""
    job = take_in(
        NAME, customer_phone=PHONE, customer_email=MAIL,
        customer_address="Zwetschgenweg 4\nNirgendheim", customer_plays="alto, in the town band",
        customer_notes="pays in coins", instrument_kind="sax_alto",
        instrument="new", instrument_maker="Harrumphonia", instrument_model="Seven",
        piece_telling_marks="engraved Q. Ypsos", request="Quirina says it is stuffy",
        condition_notes="case labelled völkermoos-ypsos", return_by="post",
    )  # fmt: skip
    for role, line in (
        ("as_received", CLOSE_LINE),
        ("as_returned", "35.5 23.5 12.5 6.5 / 1.13"),
    ):
        read_line(job, line, role, note="for Quirina")
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=notes]", note=f"Called {NAME} on 01632/96-08-77, mail to {MAIL}.")
    browser.open(f"/jobs/{job}")
    browser.send(
        "form[action$=passes]",
        kind="tilted",
        abrasive="paper",
        pass_note="as Ypsos asked",  # noqa: S106
    )
    browser.open("/customers/1/edit")
    browser.send("main form", name=NAME, notes="pays in coins, late")
    for kind in ("intake_slip", "return_card", "packing_note", "estimate", "bill"):
        browser.open(f"/jobs/{job}/papers/{kind}")
        browser.send("main form")
    browser.open("/pieces/1/papers/piece_record")
    browser.send("main form")
    browser.open(f"/jobs/{job}/photos")
    data = {"token": browser.page.select_one("[name=token]")["value"], "moment": "return",
            "view": "tip", "caption": "held by Quirina"}  # fmt: skip
    client.post(f"/jobs/{job}/photos", data=data, files=[("files", ("a.jpg", photo()))])
    other = take_in("Ottilie Wiesenrauch", piece_marking="X9")
    read_line(other, "29.5 19.5 10.5 4.5 / 0.98")
    browser.open(f"/jobs/{other}")
    browser.send("form[action$=notes]", note=f"Sent here by {NAME}.")
    browser.open(f"/jobs/{other}")
    browser.send("form[action$=notes]", note="Not that Quirina from the fair.")
    browser.open(f"/jobs/{other}/readings?role=as_returned")
    form = browser.page.select_one("form[data-grid]")
    hidden = {one["name"]: one["value"] for one in form.select("input[type=hidden]")}
    client.post(form["data-preview-at"], data={**hidden, "note": "like Ypsos", "line": "35.5 23.5"})
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")
    return job


def forget(browser, **typed):
    browser.open("/customers/1/forget")
    return browser.send("main form[action$=forget]", sure=NAME, **typed)


def traces_in(folder: Path) -> list[tuple[str, str]]:
    """Search every byte of a folder, words as they are, in JSON's writing, and folded."""
    found = []
    for path in folder.rglob("*"):
        if not path.is_file() or path.suffix == ".jpg":
            continue
        content = path.read_bytes()
        for word in TRACES:
            for form in {word, word.title(), word.upper(), word.replace("ö", "o")}:
                for written in (form.encode(), json.dumps(form)[1:-1].encode(),
                                form.encode("utf-16-le")):  # fmt: skip
                    if written in content:
                        found.append((path.name, form))
    return found


def words_of_indexes(book: Path) -> set[str]:
    """List the parts of words that the search indexes hold."""
    with closing(sqlite3.connect(book / "book.sqlite3")) as connection:
        found = set()
        for index in ("customer_search", "piece_search", "job_search"):
            connection.execute(
                f"CREATE VIRTUAL TABLE temp.of_{index} USING fts5vocab('main', '{index}', 'row')"
            )
            found |= {row[0] for row in connection.execute(f"SELECT term FROM of_{index}")}  # noqa: S608
    assert "ott" in found
    return found


def test_every_text_column_is_looked_through_or_known_to_name_nobody():
    for table in list_tables():
        for column in table.columns:
            if kind_of(column) not in {"text", "json"} or table.name in NO_FREE_TEXT:
                continue
            told = column.name in FREE_TEXTS.get(table.name, ())
            place = (table.name, column.name)
            no_words = place in WHOLE or (
                column.name in NO_FREE_TEXT and place != ("work", "material")
            )
            assert told != no_words, (table.name, column.name)


@pytest.mark.usefixtures("worked")
def test_the_page_shows_what_goes_what_stays_and_what_only_the_maker_can_judge(browser):
    browser.open("/customers/1")
    browser.open(browser.page.select_one("a[href$=forget]")["href"])
    words = browser.text
    for told in (PHONE, MAIL, "alto, in the town band", "maker and model of 1 instrument",
                 "before 1 correction", "6 papers kept as printed", "1 page on which",
                 "1 piece, 1 job", "2 sets of readings", "1 photograph of their jobs",
                 "for your adviser to say", "There is no backup yet",
                     "yours to delete"):  # fmt: skip
        assert told in words, told
    struck = {one.select_one("del").text: one.select("p")[-1].text
              for one in browser.page.select("li.struck-text:has(del)")}  # fmt: skip
    assert struck["Quirina says it is stuffy"] == "— says it is stuffy"
    assert struck["case labelled völkermoos-ypsos"] == "case labelled —"
    assert struck[f"Sent here by {NAME}."] == "Sent here by —."
    assert (
        struck[f"Called {NAME} on 01632/96-08-77, mail to {MAIL}."] == "Called — on —, mail to —."
    )
    doubtful = browser.page.select("li.struck-text:not(:has(del))")
    assert [one.select("p")[-1].text for one in doubtful] == ["Not that Quirina from the fair."]
    assert doubtful[0].select_one("a")["href"] == "/jobs/2"


@pytest.mark.sqlite_file
@pytest.mark.usefixtures("worked")
def test_the_person_is_gone_from_every_byte_and_the_measurements_are_all_there(
    browser, book, sessions
):
    assert traces_in(book)
    with sessions.read() as session:
        readings = [(r.quantity, r.typed, r.value_mm) for r in session.scalars(select(Reading))]
    browser.open("/customers/1/forget")
    doubtful = browser.page.select("input[name=also]")
    assert len(doubtful) == 1
    assert not doubtful[0].has_attr("checked")
    forget(browser, photos="yes", also=doubtful[0]["value"])
    assert browser.path == "/customers/1"
    assert "The person is forgotten." in browser.text
    assert FORGOTTEN_NAME in browser.text.lower()
    assert traces_in(book) == []
    assert list((book / "photos").glob("*")) == []
    assert {"qui", "irin", "ölk", "olk", "yps"}.isdisjoint(words_of_indexes(book))
    with sessions.read() as session:
        after = [(r.quantity, r.typed, r.value_mm) for r in session.scalars(select(Reading))]
        assert after == readings
        assert len(list(session.scalars(select(ReadingSet)))) == 3
        papers = list(session.scalars(select(Slip.printed)))
        assert len(papers) == 6
        assert all(one["struck_out_on"] == "2026-11-25" for one in papers)
        names = {one.name for one in session.scalars(select(SlipFile))}
        assert "paper.pdf" not in names
        assert not [name for name in names if name.endswith(".svgz")]
        kept = session.scalar(select(Forgetting))
        assert kept.removed == {"texts": 12, "papers": 6, "earlier_words": 1, "instruments": 1,
                                "drafts": 1, "photographs": 1}  # fmt: skip
        assert (kept.finished_at is not None, kept.files_left) == (True, [])
    for path in ("/jobs/1", "/pieces/1", "/", "/papers/2", "/papers/6", "/jobs/1/charges"):
        browser.open(path)
    browser.open("/papers/2")
    assert "struck out of it on" in browser.text
    browser.open("/papers/2/kept")
    assert "1.13" in browser.text
    browser.open("/jobs/1")
    assert "The client asked to be forgotten." in browser.text
    browser.open("/look-up?q=quirina")
    assert not browser.page.select("main a[href^='/jobs/']")
    browser.open("/look-up?q=N4")
    assert browser.page.select("main a[href='/pieces/1']")


@pytest.mark.usefixtures("worked")
def test_photographs_stay_unless_their_removal_is_ticked(browser, book):
    forget(browser)
    assert len(list((book / "photos").glob("*.jpg"))) == 2
    captions = rows_of(book / "book.sqlite3", "SELECT caption FROM photo")
    assert captions == [("held by —",)]


@pytest.mark.parametrize("typed", ["", "yes", "Quirina", "Ottilie Wiesenrauch"])
@pytest.mark.usefixtures("worked")
def test_without_the_name_typed_nothing_happens(browser, book, typed):
    before = rows_of(book / "book.sqlite3", "SELECT * FROM customer")
    browser.open("/customers/1/forget")
    browser.send("main form[action$=forget]", sure=typed, photos="yes", status=422)
    assert "Write the customer's name" in browser.text
    assert browser.page.select_one("[name=sure]")["value"] == typed
    assert browser.page.select_one("[name=photos]").has_attr("checked")
    assert rows_of(book / "book.sqlite3", "SELECT * FROM customer") == before
    assert rows_of(book / "book.sqlite3", "SELECT * FROM forgetting") == []


@pytest.mark.usefixtures("worked")
def test_a_second_press_forgets_once(browser, client, book):
    browser.open("/customers/1/forget")
    token = browser.page.select_one("[name=token]")["value"]
    data = {"token": token, "sure": NAME}
    for sent in (data, data, {"token": "another", "sure": NAME}):
        assert client.post("/customers/1/forget", data=sent).url.path == "/customers/1"
    assert rows_of(book / "book.sqlite3", "SELECT count(*) FROM forgetting") == [(1,)]
    said = rows_of(
        book / "book.sqlite3", "SELECT count(*) FROM event WHERE words LIKE 'The client asked%'"
    )
    assert said == [(1,)]
    assert client.get("/customers/1/forget").url.path == "/customers/1"


def test_while_a_piece_of_theirs_is_here_the_page_refuses(browser, client, take_in, book):
    job = take_in(NAME)
    browser.open("/customers/1/forget")
    assert f"still here (job {job})" in browser.text
    assert not browser.page.select("main form")
    assert client.post("/customers/1/forget", data={"sure": NAME}).status_code == 422
    assert rows_of(book / "book.sqlite3", "SELECT name FROM customer") == [(NAME,)]


@pytest.mark.usefixtures("worked")
def test_somebody_else_of_the_same_name_is_left_alone(browser, take_in):
    take_in(NAME, piece_marking="Z1", request="Quirina Völkermoos-Ypsos wants it open")
    forget(browser)
    browser.open("/jobs/3")
    assert "Quirina Völkermoos-Ypsos wants it open" in browser.text
    browser.open("/look-up?q=quirina")
    assert browser.page.select("main a[href='/jobs/3']")
    browser.open("/jobs/2")
    assert f"Sent here by {NAME}." in browser.text


@pytest.mark.sqlite_file
@pytest.mark.usefixtures("worked")
def test_what_could_not_be_cleared_away_is_said_and_done_later(browser, book, monkeypatch):
    monkeypatch.setattr(store, "write_anew", lambda _engine: False)
    forget(browser, photos="yes")
    assert "Not finished." in browser.text
    assert FORGOTTEN_NAME in browser.text.lower()
    assert traces_in(book), "until the file is written anew, deleted words can be read in it"
    monkeypatch.undo()
    browser.send("main form[action$=forget]")
    assert "Not finished." not in browser.text
    assert {one for one in traces_in(book) if one[1].lower() != "quirina"} == set()


@pytest.mark.sqlite_file
@pytest.mark.usefixtures("worked")
def test_a_reader_in_the_way_is_no_harm_and_the_file_is_written_anew_later(browser, book, sessions):
    """Somebody's long look at the book keeps the log from being emptied."""
    with sessions.read() as session:
        session.scalars(select(Event)).all()
        forget(browser)
        assert "Not finished." in browser.text
    browser.send("main form[action$=forget]")
    assert "Not finished." not in browser.text
    assert (book / "book.sqlite3-wal").stat().st_size < 20_000


@pytest.mark.usefixtures("worked")
def test_the_page_says_where_backups_still_hold_the_person_and_until_when(browser, book):
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    browser.open("/customers/1/forget")
    assert "1 backup made until now still holds the person" in browser.text
    assert str(book / "laybook-backups") in browser.text
    # 24 months of 31 days, the longest of the usual rotation's periods
    assert "by about 8 December 2028" in browser.text


def test_the_shop_itself_is_never_forgotten(browser, take_in, sessions):
    from app.store.records.shop import get_shop

    job = take_in(NAME)
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")
    with sessions.write() as session:
        get_shop(session).customer_id = 1
        session.commit()
    browser.open("/customers/1/forget")
    assert "This is the shop itself" in browser.text


def test_no_word_of_a_paper_s_marks_is_struck(browser, take_in, sessions):
    """A person called Table must not take the tables out of their papers."""
    job = take_in("Class Table", customer_phone="01632 960321")
    browser.open(f"/jobs/{job}/papers/intake_slip")
    browser.send("main form")
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")
    with sessions.read() as session:
        marks = re.findall(r"<[^>]*>", session.scalar(select(Slip.html)))
    browser.open("/customers/1/forget")
    browser.send("main form[action$=forget]", sure="Class Table")
    with sessions.read() as session:
        html = session.scalar(select(Slip.html))
        assert re.findall(r"<[^>]*>", html) == marks
        assert "Class Table" not in html


@pytest.mark.usefixtures("worked")
def test_a_paper_about_another_loses_only_what_can_be_nobody_else(browser, sessions):
    browser.open("/pieces/2/papers/piece_record")
    browser.send("main form")
    number = int(browser.path.rsplit("/", 1)[1])
    forget(browser)
    with sessions.read() as session:
        html = session.scalar(select(Slip.html).where(Slip.number == number))
    assert "Not that Quirina from the fair." in html
    assert "Sent here by —." in html
    assert NAME not in html
