"""What cured it: nothing under five cases, and no more than the cases bear."""

from app.core.jobs.cures import Case, tell_cures


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
