"""Looking up: any part of a word, case, accent or order; telephones with or without spaces."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.core.customers import CustomerEntry
from app.core.pieces import PieceEntry
from app.store.customers import add_customer, save_customer
from app.store.lookups import find_customers, find_jobs, find_pieces, fold, split_words
from app.store.pieces import add_piece
from app.store.tables import Customer

NOW = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.fixture
def session(sessions):
    """Give a session on a book with a few customers; nothing is committed."""
    with sessions.write() as opened:
        for name, phone in (
            ("Änne Müller", "+49 555 123 45 67"),
            ("Łucja Straßburg", "0555-99"),
            ("Per_cent 100%", ""),
            ("Anne Muller", ""),
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
        ("muller", {"Änne Müller", "Anne Muller"}),
        ("MÜLLER änne", {"Änne Müller", "Anne Muller"}),
        ("ulle", {"Änne Müller", "Anne Muller"}),
        ("lucja", {"Łucja Straßburg"}),
        ("STRASSBURG", {"Łucja Straßburg"}),
        ("straßb", {"Łucja Straßburg"}),
        ("5551234567", {"Änne Müller"}),
        ("555 123 45 67", {"Änne Müller"}),
        ("+49 555 1234567", {"Änne Müller"}),
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


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(NAMES, min_size=1, max_size=6), st.lists(NAMES, min_size=1, max_size=2))
def test_the_index_finds_what_a_full_scan_finds(sessions, names, words):
    with sessions.write() as session:
        for name in names:
            add_customer(session, CustomerEntry(name, "", "", "", "", ""), NOW)
        query = " ".join(words)
        everyone = session.scalars(select(Customer)).all()
        wanted = {
            one.id
            for one in everyone
            if all(word in one.search_text for word in split_words(query))
        }
        assert {one.id for one in find_customers(session, query)} == wanted


def test_a_changed_name_is_found_by_the_new_one_only(session):
    customer = find_customers(session, "lucja")[0]
    entry = CustomerEntry("Someone Else", "", "", "", "", "")
    save_customer(session, customer, entry, customer.version, NOW)
    assert find_customers(session, "lucja") == []
    assert find_customers(session, "omeone") == [customer]
