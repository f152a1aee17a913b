"""What cured it: nothing under five cases, and no more than the cases bear."""

from app.core.compare.differences import NOT_READ, take_facing
from app.core.jobs.cures import Case, Felt, hold_beside, tell_cures
from app.core.values.readings import BladeStop, FacingReadings


def cases(better, of, *changes, complaint="stuffy"):
    """Make cases of which the first `better` were better."""
    outcomes = ["better"] * better + ["same"] * (of - better)
    return [Case(complaint, outcome, frozenset(changes)) for outcome in outcomes]


def row(told, change, complaint="stuffy"):
    return next(one for name, rows in told if name == complaint for one in rows
                if one.change == change)  # fmt: skip


def test_under_five_cases_nothing_is_said():
    cure = row(tell_cures(cases(4, 4, "baffle") + cases(0, 9)), "baffle")
    assert (cure.low, cure.high, cure.p, cure.told) == (None, None, None, 0)


def test_from_five_on_there_are_limits_and_without_others_no_comparison():
    cure = row(tell_cures(cases(4, 5, "baffle") + cases(0, 4)), "baffle")
    assert 0.37 < cure.low < 0.8 < cure.high < 0.97
    assert (cure.p, cure.told) == (None, 0)


def test_a_clear_difference_is_told_and_a_small_one_is_not():
    told = tell_cures(cases(9, 10, "baffle") + cases(1, 10, "bore"))
    assert (row(told, "baffle").told, row(told, "bore").told) == (1, -1)
    told = tell_cures(cases(6, 10, "baffle") + cases(4, 10, "bore"))
    assert (row(told, "baffle").told, row(told, "bore").told) == (0, 0)


def test_many_changes_on_a_page_ask_for_more_each():
    alone = cases(8, 8, "baffle") + cases(4, 10, "bore")
    assert row(tell_cures(alone), "baffle").told == 1
    crowd = [one for n in range(12) for one in cases(3, 6, f"c{n}", complaint=f"x{n}")
             + cases(3, 6, f"d{n}", complaint=f"x{n}")]  # fmt: skip
    assert row(tell_cures(alone + crowd), "baffle").told == 0


def test_complaints_come_by_how_often_and_are_kept_apart():
    told = tell_cures(cases(1, 2, "bore", complaint="hard") + cases(5, 6, "bore"))
    assert [name for name, _ in told] == ["stuffy", "hard"]
    assert (row(told, "bore").better, row(told, "bore", "hard").better) == (5, 1)


def felt(said, opened):
    """Make a job that opened a tip of 1.03 mm by so much, with its player's word."""
    rail = tuple(BladeStop(*one) for one in ((0.86, 2.6), (0.61, 5.4), (0.25, 10.7), (0.038, 16.4)))
    before, after = (take_facing(FacingReadings(rail, rail, 1.03 + by)) for by in (0.0, opened))
    return Felt(said, "clarinet_bb", before, after)


MORE_AND_LESS = [("harder", 0.14), ("harder", 0.12), ("harder", 0.10),
                 ("alike", 0.01), ("easier", -0.08), ("easier", -0.1)]  # fmt: skip


def test_what_players_say_is_held_beside_the_effort_from_five_on():
    few = hold_beside([felt(*one) for one in MORE_AND_LESS[:4]])
    assert (few.cases, few.rho, few.p, few.told) == (4, None, None, 0)
    together = hold_beside([felt(*one) for one in MORE_AND_LESS])
    assert together.counts == {("harder", "harder"): 3, ("alike", "alike"): 1,
                               ("easier", "easier"): 2}  # fmt: skip
    assert together.told == 1
    turned = {"harder": "easier", "alike": "alike", "easier": "harder"}
    assert hold_beside([felt(turned[said], by) for said, by in MORE_AND_LESS]).told == -1


def test_a_word_alone_is_no_case_and_words_that_never_differ_tell_nothing():
    assert hold_beside([Felt("harder", "other", NOT_READ, NOT_READ)] * 5).cases == 0
    same = hold_beside([felt("harder", by) for _, by in MORE_AND_LESS])
    assert (same.cases, same.told) == (6, 0)
