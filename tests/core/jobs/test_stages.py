"""Stages: what moves a job on and what comes next stand in one table."""

import pytest

from app.core.jobs.stages import AGREED, BECAUSE, CARD, PASS, STAGES, next_step, stage_after


@pytest.mark.parametrize(
    ("stage", "happening", "after"),
    [
        ("dropped_off", "as_received", "measured"),
        ("dropped_off", AGREED, None),
        ("dropped_off", PASS, "on_the_bench"),
        ("measured", "as_received", None),
        ("measured", AGREED, "agreed"),
        ("measured", PASS, "on_the_bench"),
        ("agreed", PASS, "on_the_bench"),
        ("on_the_bench", "at_the_bench", None),
        ("on_the_bench", "as_returned", "play_test"),
        ("on_the_bench", CARD, None),
        ("play_test", CARD, "ready"),
        ("ready", PASS, None),
        ("returned", PASS, None),
    ],
)
def test_what_happens_moves_a_job_only_where_the_table_says(stage, happening, after):
    assert stage_after(stage, happening) == after


@pytest.mark.parametrize(
    ("stage", "happened", "label"),
    [
        ("dropped_off", set(), "Readings as received"),
        ("on_the_bench", {AGREED, PASS}, "Readings as received"),
        ("measured", {"as_received"}, "Note what was agreed"),
        ("measured", {"as_received", AGREED}, "It is agreed"),
        ("on_the_bench", {"at_the_bench"}, "Readings at the bench"),
        ("play_test", {"at_the_bench"}, "Readings as returned"),
        ("play_test", {"as_returned"}, "Return card"),
        ("ready", {"as_returned"}, "It went home"),
    ],
)
def test_the_next_step_is_the_first_that_has_not_happened(stage, happened, label):
    step = next_step(stage, happened)
    assert step
    assert step.label == label


def test_nothing_is_offered_of_a_job_that_went_home():
    assert next_step("returned", {"as_returned"}) is None


def test_every_stage_a_job_moves_from_or_to_is_in_the_table():
    steps = [step for stage in STAGES.values() for step in stage.next_steps]
    assert {step.stage for step in steps if step.stage} <= set(STAGES)
    assert {one for stage in STAGES.values() for one in stage.reached_from} <= set(STAGES)
    assert {stage.reached_by for stage in STAGES.values() if stage.reached_by} == set(BECAUSE)
