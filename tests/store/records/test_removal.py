"""The log a rate is learnt from: order, corrections, struck passes, other materials."""

from datetime import timedelta

import pytest

from app.core.plan.bench import LoggedPass
from app.core.values.readings import FacingReadings, Uncertainties
from app.store.records.jobs import get_job
from app.store.records.measurements import measurements_of_job
from app.store.records.removal import list_removal_pairs, list_used_passes, log_of_job
from tests.lines import CLOSE_LINE


@pytest.fixture
def worked(browser, take_in, read_line, clock):
    """Take a piece in, cut it twice with readings around each pass; gives the job's number."""

    def work(material="hard_rubber", grit="600"):
        job = take_in(piece_material=material)
        read_line(job, CLOSE_LINE)
        clock.at += timedelta(minutes=1)
        for strokes, line in (("10", "34 22.5 12 5.5 / 1.07"), ("8", "34.5 22.5 12.5 6 / 1.09")):
            browser.send(
                "form[aria-label='Log a pass']", kind="tilted", abrasive="wet paper", grit=grit,
                strokes=strokes,
            )  # fmt: skip
            clock.at += timedelta(minutes=1)
            read_line(job, line, role="at_the_bench")
            clock.at += timedelta(minutes=1)
        return job

    return work


def log(sessions, number):
    with sessions.read() as session:
        job = get_job(session, number)
        return log_of_job(job, measurements_of_job(job))


def kinds(entries):
    return ["pass" if isinstance(one, LoggedPass) else "read" for one in entries]


def test_readings_and_passes_come_in_the_order_they_were_done(worked, sessions):
    entries = log(sessions, worked())
    assert kinds(entries) == ["read", "pass", "read", "pass", "read"]
    assert [one.strokes for one in entries if isinstance(one, LoggedPass)] == [10.0, 8.0]


def test_a_correction_stands_where_the_readings_it_replaces_stood(worked, sessions, browser):
    job = worked()
    browser.open(f"/jobs/{job}")
    middle = browser.page.select("#readings tbody a")[1]["href"]
    browser.open(f"{middle}/correct")
    browser.send("form[data-grid]", tip="1.05", why="misread the wedge")
    entries = log(sessions, job)
    assert kinds(entries) == ["read", "pass", "read", "pass", "read"]
    assert entries[2].tip_opening_mm == pytest.approx(1.05)


def test_a_struck_pass_does_not_count(worked, sessions, browser):
    job = worked()
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=strike]")
    assert kinds(log(sessions, job)) == ["read", "read", "pass", "read"]
    with sessions.read() as session:
        assert len(list_used_passes(session)) == 1


def test_pairs_tell_what_the_passes_took_and_whose_job_it_was(worked, sessions):
    first, second = worked(), worked(material="metal")
    with sessions.read() as session:
        pairs = list_removal_pairs(session, Uncertainties())
        assert [(one.job, one.strokes) for one in pairs] == [
            (str(first), 10.0), (str(first), 8.0), (str(second), 10.0), (str(second), 8.0),
        ]  # fmt: skip
        assert [one.depth_mm for one in pairs[:2]] == pytest.approx([0.02, 0.02])
        metal = list_removal_pairs(session, Uncertainties(), material="metal")
        assert {one.job for one in metal} == {str(second)}
        assert list_removal_pairs(session, Uncertainties(), cuts=["flat"]) == []
        newest = list_removal_pairs(session, Uncertainties(), most_jobs=1)
        assert {one.job for one in newest} == {str(second)}


def test_a_set_without_any_facing_reading_brackets_nothing(worked, sessions, read_line):
    job = worked()
    read_line(job, "– – – – / – / 0.591", role="at_the_bench")
    assert all(isinstance(one, (LoggedPass, FacingReadings)) for one in log(sessions, job))
    assert kinds(log(sessions, job)) == ["read", "pass", "read", "pass", "read"]
