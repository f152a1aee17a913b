"""Uncertainty budgets, on causes whose sum is known by hand."""

import math

import pytest

from app.core.values.uncertainty import (
    Cause,
    combine_budget,
    combined,
    interval_95,
    rectangular,
    repeatability,
    resolution,
    tolerance,
)


def test_three_and_four_make_five() -> None:
    budget = combine_budget([Cause("hand", 0.03), Cause("scale", 0.04)])
    assert budget.u_mm == pytest.approx(0.05)
    assert budget.dof == math.inf
    assert budget.coverage_factor == pytest.approx(1.959964, rel=1e-6)
    assert combined([Cause("hand", 0.03), Cause("scale", 0.04)]) == pytest.approx(0.05)


def test_a_step_of_half_a_millimetre_leaves_a_rectangle_of_a_quarter_each_way() -> None:
    assert resolution(0.5).u_mm == pytest.approx(0.25 / math.sqrt(3))
    assert tolerance(0.25).u_mm == pytest.approx(0.25 / math.sqrt(3))
    assert rectangular(0.0) == 0.0


def test_the_mean_of_four_readings_scatters_half_as_much() -> None:
    assert repeatability(0.12, readings=4).u_mm == pytest.approx(0.06)


def test_one_cause_keeps_its_own_degrees_of_freedom() -> None:
    budget = combine_budget([Cause("hand", 0.2, 4)])
    assert budget.dof == pytest.approx(4)
    assert budget.coverage_factor == pytest.approx(2.776445, rel=1e-6)


def test_causes_of_nothing_make_nothing() -> None:
    budget = combine_budget([Cause("hand", 0.0, 4)])
    assert budget.u_mm == 0.0


@pytest.mark.parametrize(
    ("u_mm", "dof", "words"),
    [
        (-0.1, math.inf, "hand"),
        (math.nan, math.inf, "zero or more"),
        (0.1, 0, "degrees of freedom"),
    ],
)
def test_impossible_causes_are_refused_by_name(u_mm: float, dof: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Cause("hand", u_mm, dof)


@pytest.mark.parametrize("make", [resolution, tolerance, rectangular])
def test_a_half_width_below_nothing_is_refused(make) -> None:
    with pytest.raises(ValueError, match="half-width"):
        make(-0.1)


def test_a_budget_of_no_causes_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one cause"):
        combine_budget([])
    with pytest.raises(ValueError, match="at least one reading"):
        repeatability(0.1, readings=0)


@pytest.mark.parametrize(
    ("power", "low", "high"),
    [
        (1.0, 100 - 19.6, 100 + 19.6),
        (0.5, 10.0 * 0.902**2 * 10, 10.0 * 1.098**2 * 10),
        (-1.0, 100 / 1.196, 100 / 0.804),
    ],
)
def test_limits_are_drawn_on_the_scale_on_which_a_quantity_is_nearly_normal(power, low, high):
    found = interval_95(100.0, 10.0, power)
    assert found == pytest.approx((low, high), rel=1e-4)


def test_without_an_upper_limit_there_is_none():
    low, high = interval_95(100.0, 60.0, -1.0)
    assert low > 40
    assert high is None
    assert interval_95(1.0, 2.0, 0.5)[0] == 0.0
