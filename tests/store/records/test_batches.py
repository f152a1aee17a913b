"""Batches: pieces in the order made, the shop as their owner, and only its own readings."""

from datetime import UTC, date, datetime

import pytest

from app.core.jobs.batches import BatchEntry, PiecesEntry
from app.store.records.batches import (
    add_batch,
    add_batch_pieces,
    find_batch_of,
    list_batches,
    list_made_pieces,
    own_customer_id,
)
from app.store.records.facings import add_facing
from app.store.records.revisions import Conflict, list_revisions, save_entry
from app.store.records.shop import get_shop
from app.store.tables import Customer
from tests.store.records.test_facings import ENTRY

NOW, TODAY = datetime(2026, 11, 25, tzinfo=UTC), date(2026, 11, 25)


@pytest.fixture
def session(sessions):
    """Give a writing session; nothing is committed."""
    with sessions.write() as opened:
        yield opened


@pytest.fixture
def batch(session):
    facing = add_facing(session, ENTRY, NOW)
    made = add_batch(session, BatchEntry("Spring run", facing.id, TODAY, ""), NOW)
    for markings in (("M1", "M2"), ("M3",)):
        entry = PiecesEntry(markings, "metal")
        add_batch_pieces(session, made, entry, "sax_alto", TODAY, NOW)
    return made


def test_pieces_stand_in_the_order_made_and_belong_to_the_shop(session, batch):
    made = list_made_pieces(session, batch.id)
    assert [(one.place, one.piece.marking, one.last) for one in made] == [
        (1, "M1", None), (2, "M2", None), (3, "M3", None),
    ]  # fmt: skip
    shop = get_shop(session)
    assert {one.piece.owner_id for one in made} == {shop.customer_id}
    assert {one.piece.material for one in made} == {"metal"}
    assert {one.piece.instrument_kind for one in made} == {"sax_alto"}
    found = find_batch_of(session, made[1].piece.id)
    assert (found.id, found.name, found.place) == (batch.id, batch.name, 2)
    assert find_batch_of(session, 999) is None


def test_the_shop_is_written_down_as_an_owner_once(session):
    first = own_customer_id(session, NOW)
    assert own_customer_id(session, NOW) == first
    assert session.get_one(Customer, first).name == get_shop(session).name


def test_batches_are_listed_with_how_many_pieces_they_have(session, batch):
    (line,) = list_batches(session)
    assert (line.batch.id, line.facing.name, line.piece_count) == (batch.id, "Shop five", 3)
    assert len(list_batches(session, batch.facing_id)) == 1
    assert list_batches(session, 999) == []


def test_a_change_keeps_what_the_batch_said(session, batch):
    entry = BatchEntry("Spring run A", batch.facing_id, TODAY, "first half")
    save_entry(session, batch, entry, 1, NOW)
    assert list_revisions(session, "batch", batch.id)[0].before["name"] == "Spring run"
    with pytest.raises(Conflict):
        save_entry(session, batch, BatchEntry("B", batch.facing_id, TODAY, ""), 1, NOW)
