"""The customers' list by letters and in parts, and a customer's jobs in parts."""

from datetime import date

import pytest

from app.core.jobs.drop_offs import JobEntry
from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.records.customers import add_customer, list_customers
from app.store.records.jobs import add_job
from app.store.records.pieces import add_piece
from tests.conftest import NOON

DAY = date(2026, 1, 1)
NAMES = [f"{letter}{number:03d} Reed" for letter in "ÄBØ" for number in range(80)]


def add_named(session, name):
    return add_customer(session, CustomerEntry(name, "", "", "", "", ""), NOON)


@pytest.fixture
def many(sessions):
    """Write 240 customers down; the first has two pieces and 130 jobs."""
    with sessions.write() as session:
        made = [add_named(session, name) for name in NAMES]
        stamped = PieceEntry("clarinet_bb", "", "", "N4", "glass", None, "", "")
        pieces = [add_piece(session, made[0].id, stamped, DAY, NOON) for _ in range(2)]
        entry = JobEntry("", (), "", DAY, None, "hand")
        for _ in range(130):
            add_job(session, entry, made[0].id, pieces[0].id, None, now=NOON)
        session.commit()
    return made


def names_on(page):
    return [one.text for one in page.select(".plain-list b")]


def test_few_customers_are_listed_without_letters(browser, sessions):
    with sessions.write() as session:
        add_named(session, "Éva Kieselkeks")
        session.commit()
    page = browser.open("/customers")
    assert names_on(page) == ["Éva Kieselkeks"]
    assert not page.select(".letters")


@pytest.mark.usefixtures("many")
def test_going_on_from_part_to_part_lists_everybody_once_in_order(browser):
    page, seen = browser.open("/customers"), []
    while True:
        seen += names_on(page)
        further = [one for one in page.select("main .button") if one.text == "Further customers"]
        if not further:
            break
        page = browser.open(further[0]["href"])
    assert seen == NAMES
    assert page.select(".letters")


@pytest.mark.usefixtures("many")
def test_a_letter_leads_to_the_names_under_it_folded(browser):
    page = browser.open("/customers")
    letter = next(one for one in page.select(".letters a") if one.text == "O")
    page = browser.open(letter["href"])
    assert names_on(page)[0] == "Ø000 Reed"
    assert page.select_one(".letters [aria-current]").text == "O"
    assert names_on(browser.open("/customers?from=z")) == []
    assert "Nobody from there on." in browser.text


def test_people_of_one_name_are_neither_lost_nor_listed_twice_between_parts(sessions):
    with sessions.write() as session:
        made = [add_named(session, "Ada Amselhut").id for _ in range(7)]
        first = list_customers(session, most=3)
        second = list_customers(session, after=first.customers[-1].id, most=3)
        third = list_customers(session, after=second.customers[-1].id, most=3)
    parts = [[one.id for one in part.customers] for part in (first, second, third)]
    assert [*parts[0], *parts[1], *parts[2]] == made
    assert [part.more for part in (first, second, third)] == [True, True, False]


def test_pieces_are_counted_and_jobs_shown_newest_first_in_parts(browser, many):
    page = browser.open("/customers")
    assert "2 pieces" in page.select_one(".plain-list li").text
    page = browser.open(f"/customers/{many[0].id}")
    assert [one.text for one in page.select(".job-no")] == [str(n) for n in range(130, 30, -1)]
    earlier = next(one for one in page.select("main .button") if one.text == "Earlier jobs")
    page = browser.open(earlier["href"])
    assert [one.text for one in page.select(".job-no")] == [str(n) for n in range(30, 0, -1)]
    assert "Earlier jobs" not in browser.text


def test_two_of_one_name_are_told_apart_by_the_last_visit_or_a_piece(browser, sessions, take_in):
    take_in("Ada Amselhut", piece_marking="N4", dropped_off="2026-03-01")
    with sessions.write() as session:
        other = add_named(session, "Ada Amselhut")
        add_piece(session, other.id, PieceEntry("clarinet_bb", "", "", "K7", "glass", None, "", ""),
                  DAY, NOON)  # fmt: skip
        add_named(session, "Ada Amselhut")
        session.commit()
    browser.open("/look-up?q=amsel")
    lines = [one.text for one in browser.page.select(".plain-list")[0].select("li")]
    assert "last here 1 March 2026 with Kestrel Row" in lines[0]
    assert "K7" in lines[1]
    assert "no piece yet" in lines[2]
