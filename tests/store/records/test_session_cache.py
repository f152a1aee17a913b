"""What a session remembers is what the book holds, whatever the session or another one writes."""

from datetime import date

from sqlalchemy import update

from app.core.gauges.gauges import CheckEntry
from app.store.records.gauges import add_check, load_register
from app.store.records.measurements import list_measurements, measurements_of_job
from app.store.records.session_cache import remember, remembered
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Gauge, Job
from tests.conftest import NOON

THINNER = CheckEntry(date(2026, 11, 1), "", None, "0.03", "blade_mm", 0.03, 0.001, "micrometer")


def thinnest(session) -> Gauge:
    return min(
        (session.get(Gauge, one.gauge_id) for one in gauges_in_use(session).blades),
        key=lambda gauge: gauge.nominal_mm,
    )


def test_a_thing_is_read_once_while_nothing_is_written(sessions):
    reads = []
    with sessions.read() as session:
        for _ in range(3):
            assert remember(session, "what", lambda: reads.append(1) or len(reads)) == 1
        assert load_register(session) is load_register(session)
    with sessions.read() as session:
        assert remembered(session, "what") is None


def test_what_the_session_writes_makes_it_forget(sessions):
    with sessions.write() as session:
        blade = thinnest(session)
        assert load_register(session)[blade.id].checks == ()
        add_check(session, blade, THINNER, NOON)
        assert load_register(session)[blade.id].checks[0].actual_mm == 0.03
        session.execute(update(Gauge).where(Gauge.id == blade.id).values(label="by hand"))
        assert load_register(session)[blade.id].label == "by hand"
        session.rollback()
        assert load_register(session)[blade.id].checks == ()


def test_a_session_sees_one_state_of_the_book_and_the_next_sees_what_was_written(sessions):
    with sessions.read() as looking:
        was = load_register(looking)
        with sessions.write() as writing:
            add_check(writing, thinnest(writing), THINNER, NOON)
            get_shop(writing).evenness_tolerance_mm = 0.25
            writing.commit()
        assert load_register(looking) is was
        assert get_shop(looking).evenness_tolerance_mm != 0.25
    with sessions.read() as later:
        assert any(one.checks for one in load_register(later).values())
        assert get_shop(later).evenness_tolerance_mm == 0.25


def test_a_check_of_a_blade_changes_what_readings_kept_in_memory_come_to(
    sessions, take_in, read_line
):
    job = take_in()
    read_line(job, "35.5 23.5 11.5 5.5 / 1.13")

    def stops():
        with sessions.read() as session:
            kept = session.query(Job).filter_by(number=job).one()
            by_piece = list_measurements(session, kept.piece_id)
            assert measurements_of_job(kept) == by_piece
            return by_piece[0].facing.left

    before = stops()
    assert stops() == before
    with sessions.write() as session:
        add_check(session, thinnest(session), THINNER, NOON)
        session.commit()
    assert stops() != before
