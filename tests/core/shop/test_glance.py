"""The shop at a glance, counted by hand on a few jobs."""

from datetime import date

from app.core.shop.glance import (
    JobFacts,
    count_instruments,
    count_stages,
    count_words,
    first_months,
    tell_months,
)

TODAY = date(2026, 11, 25)


def job(stage="measured", came=date(2026, 11, 1), wanted=None, went=None, request=""):
    return JobFacts(stage, came, wanted, went, "clarinet_bb", request)


def test_the_months_run_back_over_the_turn_of_the_year():
    months = first_months(date(2026, 2, 28), 4)
    assert months == [date(2025, 11, 1), date(2025, 12, 1), date(2026, 1, 1), date(2026, 2, 1)]


def test_open_jobs_are_counted_by_stage_with_the_late_and_the_oldest():
    jobs = [
        job(wanted=date(2026, 11, 20)),
        job(came=date(2026, 10, 26), wanted=date(2026, 12, 1)),
        job("ready", wanted=date(2026, 11, 1)),
        job("returned", went=TODAY),
    ]
    counts = {one.stage: one for one in count_stages(jobs, TODAY)}
    measured = counts["measured"]
    assert (measured.count, measured.late, measured.oldest_days) == (2, 1, 30)
    assert (counts["ready"].count, counts["ready"].late) == (1, 0)
    assert counts["agreed"].oldest_days is None
    assert "returned" not in counts


def test_turnaround_is_the_middle_one_in_the_month_of_the_return():
    jobs = [
        job("returned", date(2026, 9, 20), went=date(2026, 10, 2)),
        job("returned", date(2026, 10, 1), went=date(2026, 10, 5)),
        job("returned", date(2026, 10, 1), went=date(2026, 10, 31)),
        job("returned", date(2026, 11, 1), went=date(2026, 11, 4)),
        job("returned", date(2026, 11, 1), went=date(2026, 11, 9)),
    ]
    paid = [(date(2026, 10, 31), 8500), (date(2026, 11, 1), 2000), (date(2026, 11, 2), -500)]
    october, november = tell_months(jobs, paid, TODAY)[-2:]
    assert (october.went, october.median_days, october.received_minor) == (3, 12.0, 8500)
    assert (november.went, november.median_days, november.received_minor) == (2, 5.5, 1500)
    assert (october.came, november.came) == (2, 2)
    assert tell_months(jobs, paid, TODAY)[0].median_days is None


def test_words_are_counted_once_a_job_and_only_if_two_jobs_use_them():
    jobs = [
        job(request="Stuffy, STUFFY up high"),
        job(request="it feels stuffy and the highs squeak"),
        job(request="Squeak! größer"),
    ]
    assert [(one.label, one.count) for one in count_words(jobs)] == [("squeak", 2), ("stuffy", 2)]


def test_instruments_are_counted_by_their_label():
    assert [(one.label, one.count) for one in count_instruments([job(), job()])] == [
        ("B♭ or A clarinet", 2)
    ]
