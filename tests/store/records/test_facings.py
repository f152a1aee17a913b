"""The facings library: kept as typed, changed without losing what it said, chosen by jobs."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from app.core.facing.measurements import ReadingEntry
from app.core.plan.facings import FacingTolerance, PlainFacing
from app.core.plan.targets import FacingEntry
from app.store.records.facings import (
    add_facing,
    choose_facing,
    find_facing,
    get_facing,
    list_facings,
    list_jobs_aiming_at,
    list_set_aside,
    save_facing,
    set_in_library,
)
from app.store.records.jobs import get_job
from app.store.records.revisions import Conflict, list_revisions

NOW, TODAY = datetime(2026, 11, 25, tzinfo=UTC), date(2026, 11, 25)
LENGTH = ReadingEntry("length", "", None, 0.0381, None, "36", "glass_half_mm", 18.0)
TIP = ReadingEntry("tip", "", None, None, None, "1,10", "tip_mm", 1.1)
ENTRY = FacingEntry(
    "Shop five", "clarinet_bb", "plain", "arc", None, (LENGTH, TIP),
    FacingTolerance(0.5, 0.02, 0.02), "",
)  # fmt: skip


@pytest.fixture
def session(sessions):
    """Give a writing session; nothing is committed."""
    with sessions.write() as opened:
        yield opened


def test_a_facing_comes_back_as_it_was_typed(session):
    kept = add_facing(session, ENTRY, NOW)
    session.expire_all()
    found = get_facing(session, kept.id)
    assert found.readings == ENTRY.readings
    assert found.tolerance == ENTRY.tolerance
    assert found.target == PlainFacing(18.0, 1.1, "arc", 0.0381, None)
    assert get_facing(session, None) is None
    assert get_facing(session, 99) is None


def test_the_library_lists_one_instrument_and_leaves_out_what_is_put_aside(session):
    add_facing(session, ENTRY, NOW)
    add_facing(session, replace(ENTRY, name="Deep", instrument_kind="clarinet_bass"), NOW)
    own = add_facing(session, replace(ENTRY, name="Job 1"), NOW, in_library=False)
    assert [one.name for one in list_facings(session)] == ["Deep", "Shop five"]
    assert [one.name for one in list_facings(session, "clarinet_bass")] == ["Deep"]
    assert [one.name for one in list_set_aside(session)] == ["Job 1"]
    set_in_library(session, own, True, NOW)
    assert list_set_aside(session) == []


def test_a_change_keeps_what_the_facing_said_before(session):
    kept = add_facing(session, ENTRY, NOW)
    kept = find_facing(session, kept.id)
    longer = replace(
        ENTRY, name="Shop six", readings=(replace(LENGTH, typed="37", value_mm=18.5), TIP)
    )
    save_facing(session, kept, longer, 1, NOW, ("36 / 1.10", "37 / 1.10"))
    session.expire_all()
    found = get_facing(session, kept.id)
    assert (found.name, found.target.facing_length_mm) == ("Shop six", 18.5)
    said = [one.before for one in list_revisions(session, "facing", kept.id)]
    assert {"numbers": "36 / 1.10"} in said
    assert {"name": "Shop five"} in said


def test_two_pages_that_change_one_facing_conflict_even_if_only_numbers_differ(session):
    kept = find_facing(session, add_facing(session, ENTRY, NOW).id)
    one = replace(ENTRY, readings=(replace(LENGTH, typed="37", value_mm=18.5), TIP))
    other = replace(ENTRY, readings=(replace(LENGTH, typed="35", value_mm=17.5), TIP))
    save_facing(session, kept, one, 1, NOW, ("36", "37"))
    assert kept.version == 2
    with pytest.raises(Conflict) as conflict:
        save_facing(session, kept, other, 1, NOW, ("37", "35"))
    assert conflict.value.changed == {"numbers": ("37", "35")}
    assert find_facing(session, kept.id).readings[0].typed == "37"


def test_choosing_a_target_is_written_into_the_jobs_history_once(take_in, sessions):
    number = take_in()
    with sessions.write() as session:
        facing = add_facing(session, ENTRY, NOW)
        job = get_job(session, number)
        for _ in range(2):
            choose_facing(session, job, facing, "Target: Shop five", TODAY, NOW)
        session.expire_all()
        job = get_job(session, number)
        assert job.facing_id == facing.id
        assert [one.words for one in job.events if one.kind == "target"] == ["Target: Shop five"]
        assert [one.number for one in list_jobs_aiming_at(session, facing.id)] == [number]
        choose_facing(session, job, None, "No target.", TODAY, NOW)
        assert list_jobs_aiming_at(session, facing.id) == []
