"""Second-hand pieces: passed on in one step, asked about, made one and taken apart again."""

import pytest

from app.store.tables import Job
from tests.books import content_of
from tests.lines import OPEN_LINE, RECEIVED_LINE

ALIKE = {"piece_maker": "Kestrel Row", "piece_model": "Nightjar", "piece_marking": "N4"}


def names(browser, selector="main a[href^='/pieces/'] b"):
    return [one.text for one in browser.page.select(selector)]


@pytest.fixture
def twice(browser, take_in, read_line):
    """One piece written down under two owners, read once each."""
    first = take_in(**ALIKE, dropped_off="2019-05-03", piece_telling_marks="nick left")
    read_line(first, RECEIVED_LINE)
    went_home(browser, first)
    second = take_in("Jörg Łuckenwirbel", **ALIKE, same_piece="none", piece_notes="bought used")
    read_line(second, OPEN_LINE)
    return first, second


def test_a_piece_goes_on_to_somebody_new_in_one_step(browser, take_in):
    take_in()
    browser.open("/pieces/1/owner")
    browser.send("form[method=post]", status=422, owner="new")
    assert "Write the customer's name." in browser.text
    browser.send("form[method=post]", status=422, owner="new", owner_name="Jörg Ł",
                 since="2027-01-01")  # fmt: skip
    assert "A change of owner can't be dated in the future." in browser.text
    browser.send("form[method=post]", owner="new", owner_name="Jörg Ł", since="2026-11-01")
    assert browser.path == "/pieces/1"
    assert "Jörg Ł, from 1 November 2026" in browser.text


def went_home(browser, job):
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")


def test_a_sold_piece_is_taken_in_for_its_new_owner(browser, take_in):
    went_home(browser, take_in())
    browser.open("/drop-off?same_piece=1")
    browser.send("main form", do="take_in", customer="new", customer_name="Jörg Ł")
    assert browser.page.select_one("h1 a")["href"] == "/pieces/1"
    assert "Jörg Ł" in browser.text


def test_the_same_maker_model_and_marking_are_asked_about_and_nothing_is_joined(browser, take_in):
    went_home(browser, take_in(**ALIKE))
    typed = {**ALIKE, "customer": "new", "customer_name": "Jörg Ł", "piece": "new"}
    browser.open("/drop-off")
    page = browser.send("main form", status=422, do="take_in", **typed, request="freer")
    assert "Say whether it is that piece." in browser.text
    assert page.select_one("#request").text.strip() == "freer"
    again = [one["value"] for one in page.select("[name=same_piece]")]
    assert again == ["1", "none"]
    browser.send("main form", do="take_in", same_piece="1")
    assert browser.page.select_one("h1 a")["href"] == "/pieces/1"
    assert take_in("Somebody Else", **ALIKE, same_piece="none") == 3
    assert browser.page.select_one("h1 a")["href"] == "/pieces/2"


def test_each_piece_of_a_box_is_asked_about_and_one_press_says_that_all_are_others(
    browser, take_in, sessions
):
    went_home(browser, take_in(**ALIKE))
    two = {**ALIKE, **{name.replace("piece_", "piece2_"): one for name, one in ALIKE.items()}}
    typed = {**two, "customer": "new", "customer_name": "Jörg Ł", "piece2_asked": "freer"}
    browser.open("/drop-off")
    browser.send("main form", do="more")
    page = browser.send("main form", status=422, do="take_in", **typed)
    assert [one["id"] for one in page.select("fieldset[id^=same_piece]")] == [
        "same_piece", "same_piece2"]  # fmt: skip
    page = browser.send("main form", status=422, do="take_in", same_piece="1", same_piece2="1")
    assert "A piece comes once in an order." in browser.text
    browser.send("main form", do="take_in", same_piece="none", same_piece2="1")
    browser.open("/jobs/3")
    assert "freer" in browser.text
    assert pieces_of_jobs(sessions) == {1: 1, 2: 2, 3: 1}
    went_home(browser, 3)
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send("main form", status=422, do="take_in", **typed)
    browser.send("main form", do="others")
    assert pieces_of_jobs(sessions) == {1: 1, 2: 2, 3: 1, 4: 3, 5: 4}


def pieces_of_jobs(sessions):
    with sessions.read() as session:
        return {one.number: one.piece_id for one in session.query(Job)}


def test_a_saxophone_has_no_worn_cork(browser, take_in):
    browser.open("/drop-off")
    browser.send("main form", status=422, do="take_in", customer="new", customer_name="O W",
                 piece="new", piece_marking="7*", piece_instrument_kind="sax_alto",
                 condition=["worn or loose cork"])  # fmt: skip
    assert "it is on the neck" in browser.text
    job = take_in(piece_instrument_kind="sax_alto")
    browser.open(f"/jobs/{job}/edit")
    assert "worn or loose cork" not in browser.page.text


def test_a_former_owner_s_page_and_the_look_up_still_lead_to_the_piece(browser, take_in):
    take_in(**ALIKE)
    browser.open("/pieces/1/owner")
    browser.send("form[method=post]", owner="new", owner_name="Jörg Łuckenwirbel")
    browser.open("/customers/1")
    assert "now Jörg Łuckenwirbel" in browser.text
    for words in ("wiesenrauch nightjar", "luckenwirbel nightjar", "wies nj", "nightjar"):
        browser.open(f"/look-up?q={words}")
        assert ("/pieces/1" in str(browser.page)) == (words != "wies nj"), words


def test_two_records_become_one_and_are_taken_apart_again(browser, twice, book):
    first, second = twice
    before = content_of(book / "book.sqlite3")
    browser.open("/pieces/2/join")
    browser.send("form[method=post]", status=422)
    browser.send("form[method=post]", other="1")
    assert browser.path == "/pieces/2"
    assert "nick left" in browser.text  # what was empty is filled
    for job in (first, second):
        browser.open(f"/jobs/{job}")
        assert browser.page.select_one("h1 a")["href"] == "/pieces/2"
    browser.open("/pieces/1")
    assert browser.path == "/pieces/2"
    assert "Ottilie Wiesenrauch, from 3 May 2019" in browser.text
    browser.open("/look-up?q=nightjar")
    assert len(names(browser)) == 1
    browser.open("/look-up?q=wiesenrauch nightjar")
    assert len(names(browser)) == 1
    browser.open("/pieces/2")
    browser.send("form[action$='/undo']")
    after = content_of(book / "book.sqlite3")
    for table in ("job", "reading_set", "photo", "slip", "ownership", "reading"):
        assert after[table] == before[table], table
    browser.open("/look-up?q=wiesenrauch nightjar")
    assert [one["href"] for one in browser.page.select("main a[href^='/pieces/']")] == ["/pieces/1"]


def test_two_customers_become_one_with_everything_of_theirs(browser, take_in, book):
    take_in(customer_phone="01632 960123")
    take_in("O. Wiesenrauch", piece_marking="other", customer_email="o@example.org",
            customer_address="Attic, Nirgendheim", customer_phone="01632 960124")  # fmt: skip
    before = content_of(book / "book.sqlite3")
    browser.open("/customers/1/join?find=wiesen")
    browser.send("form[method=post]", other="2")
    assert len(names(browser)) == 2
    assert "o@example.org" in browser.text
    assert "Attic, Nirgendheim" in browser.text  # what was empty is filled
    browser.open("/jobs/2")
    assert browser.page.select_one("main a[href^='/customers/']")["href"] == "/customers/1"
    browser.open("/customers/2")
    assert browser.path == "/customers/1"
    assert "01632 960124" in browser.text  # what was not empty stands beside it, and is found
    browser.open("/look-up?q=960124")
    assert browser.page.select_one("main a[href='/customers/1']")
    browser.open("/customers")
    assert len(browser.page.select("main a[href^='/customers/']")) == 1
    browser.open("/customers/1")
    browser.send("form[action$='/undo']")
    # apart again: each has its own, as before
    after = content_of(book / "book.sqlite3")
    kept = {"customer", "joining", "event", "revision"}  # and what is written down of the two acts
    differ = {one for one in after if after[one] != before[one] and "search" not in one}
    assert differ <= kept, differ
    assert [row[:9] for row in after["customer"]] == [row[:9] for row in before["customer"]]
    browser.open("/customers/1")
    assert "o@example.org" not in browser.text
    assert len(names(browser)) == 1
    browser.open("/customers/2")
    assert browser.path == "/customers/2"
    assert "Attic, Nirgendheim" in browser.text


def test_what_was_joined_twice_over_is_still_found_and_comes_apart_in_steps(browser, take_in):
    for name, phone in (("Ottilie Wiesenrauch", "960123"), ("O. Wiesenrauch", "960124"),
                        ("Tilli Wiesenrauch", "960125")):  # fmt: skip
        take_in(name, customer_phone=f"01632 {phone}")

    def leads(to: int) -> None:
        browser.open("/look-up?q=960123")
        assert browser.page.select_one(f"main a[href='/customers/{to}']")
        browser.open("/customers/1")
        assert browser.path == f"/customers/{to}"

    for kept, gone in ((2, 1), (3, 2)):
        browser.open(f"/customers/{kept}/join?find=wiesen")
        browser.send("form[method=post]", other=str(gone))
        leads(kept)
    for kept, left in ((3, 2), (2, 1)):
        browser.open(f"/customers/{kept}")
        browser.send("form[action$='/undo']")
        leads(left)


@pytest.mark.usefixtures("twice")
def test_what_is_one_already_is_refused_in_words(browser):
    browser.open("/pieces/2/join")
    browser.send("form[method=post]", status=422, other="2")
    assert "That is the same piece already." in browser.text
    browser.send("form[method=post]", other="1")
    browser.open("/pieces/2/join?find=none")
    browser.send("form[method=post]", status=422, other="1")
    assert "One of them is part of another piece already." in browser.text


def test_two_pieces_that_are_both_here_are_not_one(browser, take_in):
    take_in(**ALIKE)
    take_in(**ALIKE)
    browser.open("/pieces/2/join")
    browser.send("form[method=post]", status=422, other="1")
    assert "Both are here or expected, for jobs 2 and 1" in browser.text


def test_forgetting_a_customer_empties_every_record_of_theirs(browser, take_in, book):
    job = take_in()
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button[action$='/stage']", stage="returned")
    other = take_in("Tilli Wiesenrauch", piece_marking="other")
    browser.open(f"/jobs/{other}")
    browser.send("form.with-button[action$='/stage']", stage="returned")
    browser.open("/customers/1/join?find=tilli")
    browser.send("form[method=post]", other="2")
    browser.open("/customers/1/forget")
    browser.send("main form[action$=forget]", sure="Ottilie Wiesenrauch")
    assert "Wiesenrauch" not in str(content_of(book / "book.sqlite3"))
    assert "Tilli" not in str(content_of(book / "book.sqlite3"))


def test_a_job_goes_over_to_the_right_piece_with_its_readings(browser, take_in, read_line):
    first = take_in()
    read_line(first, RECEIVED_LINE)
    take_in(customer="1", piece_marking="the other")
    browser.open(f"/jobs/{first}/piece?find=other")
    browser.send("form[method=post]", status=422)
    browser.send("form[method=post]", status=422, piece="2")
    assert "That piece is here for job 2" in browser.text
    browser.send("form[method=post]", swapped="2")
    assert browser.page.select_one("h1 a")["href"] == "/pieces/2"
    assert "Led over to" in browser.page.select_one("#history").text
    browser.open("/pieces/1")
    assert "Not measured yet." in browser.text
    browser.open("/pieces/2")
    assert browser.page.select("main a[href^='/readings/']")
