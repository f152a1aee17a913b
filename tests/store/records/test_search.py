"""Looking up: any part of a word, case, accent or order; telephones with or without spaces."""

import itertools
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select, text

from app.core.jobs.drop_offs import JobEntry
from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.records import search
from app.store.records.customers import add_customer, save_customer
from app.store.records.jobs import add_job
from app.store.records.pieces import add_piece, pass_on_piece, save_piece
from app.store.records.search import (
    find_customers,
    find_jobs,
    find_pieces,
    fold,
    job_number_in,
    rebuild_index,
    split_words,
    tidy_index,
)
from app.store.tables import Customer, Event, Job, Piece

NOW = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.fixture
def session(sessions):
    """Give a session on a book with a few customers; nothing is committed."""
    with sessions.write() as opened:
        for name, phone in (
            ("Änne Müllerfink", "+44 1632 960 167"),
            ("Łucja Straßbummel", "01632-960"),
            ("Per_cent 100%", ""),
            ("Anne Mullerfink", ""),
        ):
            entry = CustomerEntry(name, phone, "", "", "", "")
            customer = add_customer(opened, entry, NOW)
            piece = PieceEntry(
                "clarinet_bb", "Kestrel Row", "Nightjar", "N4", "glass", None, "", ""
            )
            add_piece(opened, customer.id, piece, date(2026, 1, 1), NOW)
        yield opened


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("muller", {"Änne Müllerfink", "Anne Mullerfink"}),
        ("MÜLLER änne", {"Änne Müllerfink", "Anne Mullerfink"}),
        ("ulle", {"Änne Müllerfink", "Anne Mullerfink"}),
        ("lucja", {"Łucja Straßbummel"}),
        ("STRASSBUMMEL", {"Łucja Straßbummel"}),
        ("straßb", {"Łucja Straßbummel"}),
        ("1632960167", {"Änne Müllerfink"}),
        ("1632 960 167", {"Änne Müllerfink"}),
        ("+44 1632 960167", {"Änne Müllerfink"}),
        ("%", {"Per_cent 100%"}),
        ("_", {"Per_cent 100%"}),
        ("nobody", set()),
        ("   ", set()),
    ],
)
def test_customers_are_found_by_any_part(session, query, names):
    assert {one.name for one in find_customers(session, query)} == names


def test_pieces_are_found_by_their_own_words_and_their_owners(session):
    assert len(find_pieces(session, "night kestrel")) == 4
    assert len(find_pieces(session, "nightjar lucja")) == 1
    assert find_jobs(session, "1") == []


def test_folding_is_the_same_for_composed_and_decomposed_letters():
    assert fold("é") == fold("e\u0301") == "e"
    assert fold("E♭") == "eb"


SYLLABLES = [
    "mül",
    "ler",
    "straß",
    "ł",
    "u",
    "cja",
    "ana",
    "nan",
    "é",
    "9",
    "55",
    "%",
    "_",
    "o'",
    '"',
]
NAMES = st.lists(st.sampled_from(SYLLABLES), min_size=1, max_size=4).map("".join)


NOTHING_MORE = JobEntry("", (), "", date(2026, 1, 1), None, "hand")


def named(name):
    return CustomerEntry(name, "", "", "", "", "")


def stamped(marking):
    return PieceEntry("clarinet_bb", "", "", marking, "glass", None, "", "")


def fill(session, names, markings):
    """Write customers down, a piece of each, and a job on it for every second one."""
    for at, (name, marking) in enumerate(zip(names, itertools.cycle(markings), strict=False)):
        customer = add_customer(session, named(name), NOW)
        piece = add_piece(session, customer.id, stamped(marking), date(2026, 1, 1), NOW)
        if at % 2 == 0:
            add_job(session, NOTHING_MORE, customer.id, piece.id, None, now=NOW)


def scan(session, query):
    """Look through everything: who and what has every word, in the order of the lists."""
    words = split_words(query)
    customers = {one.id: one for one in session.scalars(select(Customer))}
    pieces = {one.id: one for one in session.scalars(select(Piece))}

    def has(*texts):
        return all(any(word in text for text in texts) for word in words)

    text_of_piece = {one.id: one.search_text for one in pieces.values()}
    named_so = [one for one in customers.values() if has(one.search_text)]
    found = [
        one.id
        for one in pieces.values()
        if has(one.search_text, customers[one.owner_id].search_text)
    ]
    jobs = [
        one.number
        for one in session.scalars(select(Job))
        if has(customers[one.customer_id].search_text, text_of_piece[one.piece_id])
    ]
    by_name = sorted(named_so, key=lambda one: (one.search_text.encode(), one.id))
    return [one.id for one in by_name], sorted(found)[::-1], sorted(jobs)[::-1]


def look(session, query, most=1000):
    """Look up by the index."""
    return (
        [one.id for one in find_customers(session, query, most)],
        [one.id for one in find_pieces(session, query, most)],
        [one.number for one in find_jobs(session, query, most)],
    )


@pytest.fixture
def looks_at_little(monkeypatch):
    """Make the limits small, so that a book of a few records goes every way."""
    monkeypatch.setattr(search, "FEW", 2)
    monkeypatch.setattr(search, "NEWEST", 2)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(NAMES, min_size=1, max_size=6),
    st.lists(NAMES, min_size=1, max_size=2),
    st.lists(NAMES, min_size=1, max_size=3),
    st.integers(1, 7),
)
@pytest.mark.usefixtures("looks_at_little")
def test_the_index_finds_what_a_full_scan_finds(sessions, names, markings, words, most):
    with sessions.write() as session:
        fill(session, names, markings)
        query = " ".join(words)
        everyone, pieces, jobs = scan(session, query)
        # a query that is a number finds that job first, whatever else fits
        numbered = [] if query.strip().isdecimal() else jobs
        assert look(session, query)[:2] == (everyone, pieces)
        assert not numbered or look(session, query)[2] == jobs
        assert look(session, query, most)[0] == everyone[:most]
        assert look(session, query, most)[1] == pieces[:most]


def test_every_change_of_a_record_is_found_at_once_and_nothing_of_before(sessions):
    with sessions.write() as session:
        fill(session, ["Änne Müllerfink", "Per Olsenquirl"], ["N4", "K7"])
        first, second = session.scalars(select(Customer)).all()
        piece = session.scalars(select(Piece)).first()
        save_customer(session, first, named("Odalind Fuchsbart"), None, NOW)
        assert look(session, "muller") == ([], [], [])
        assert look(session, "odalind") == ([first.id], [piece.id], [1])
        save_piece(session, piece, stamped("Q9"), None, NOW)
        assert look(session, "n4") == ([], [], [])
        assert look(session, "fuchs q9") == ([], [piece.id], [1])
        pass_on_piece(session, piece, second.id, date(2026, 2, 1), None, NOW)
        # the piece is the new owner's now and found by the one before; the job stays as it was
        assert look(session, "olsen q9") == ([], [piece.id], [])
        assert look(session, "fuchs q9") == ([], [piece.id], [1])
        kept = {query: look(session, query) for query in ("olsen", "fuchs", "q9", "k7")}
        rebuild_index(session.connection())
        assert {query: look(session, query) for query in kept} == kept
        session.execute(delete(Event))
        session.delete(session.scalars(select(Job)).one())
        session.flush()
        assert look(session, "fuchs")[2] == []


@pytest.mark.sqlite_file
def test_tidying_puts_the_index_together_and_finds_the_same(session):
    for number in range(40):
        customer = add_customer(
            session, CustomerEntry(f"Annabel Kestrelmop {number}", "", "", "", "", ""), NOW
        )
        add_piece(session, customer.id, stamped(f"N{number}"), date(2026, 1, 1), NOW)
    pieces = text("SELECT count(DISTINCT segid) FROM piece_search_idx")
    kept = {query: look(session, query) for query in ("anna", "kestrel n3", "n39")}
    assert session.scalar(pieces) > 1
    tidy_index(session.connection())
    assert session.scalar(pieces) == 1
    assert {query: look(session, query) for query in kept} == kept


def test_signs_that_mean_something_to_the_index_are_only_letters(session):
    for query in ('"', "'", "AND", "mül*", "a\0b", "(", "NEAR(", "-", "search_text:x", "^ä"):
        assert look(session, query) == scan(session, query), query


def test_a_changed_name_is_found_by_the_new_one_only(session):
    customer = find_customers(session, "lucja")[0]
    entry = CustomerEntry("Someone Else", "", "", "", "", "")
    save_customer(session, customer, entry, customer.version, NOW)
    assert find_customers(session, "lucja") == []
    assert find_customers(session, "omeone") == [customer]


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("41", [41]),
        (" job 41 ", [41]),
        ("#41", [41]),
        ("http://bench.local:8765/jobs/41", [41]),
        ("https://bench.local/jobs/41?said=kept#papers", [41]),
        ("bench.local:8765/jobs/41/", [41]),
        ("/jobs/41", [41]),
        ("bench.local/pieces/41", []),
        ("41 42", []),
        ("jobs/", []),
        ("١٢", []),
    ],
)
def test_a_jobs_number_is_understood_alone_and_in_the_address_of_a_tag(query, numbers):
    assert job_number_in(query) == numbers
