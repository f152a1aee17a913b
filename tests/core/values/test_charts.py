"""The individuals chart on a series worked by hand, and on bad material."""

import math

import numpy as np
import pytest

from app.core.values.charts import chart_individuals


def test_centre_and_limits_are_worked_by_hand() -> None:
    chart = chart_individuals([1.03, 1.05, 1.04, 1.06])
    assert chart.centre_mm == pytest.approx(1.045)
    mean_step = 0.05 / 3
    assert chart.upper_mm == pytest.approx(1.045 + 3 * mean_step * math.sqrt(math.pi) / 2)
    assert chart.lower_mm == pytest.approx(1.045 - 3 * mean_step * math.sqrt(math.pi) / 2)
    assert (chart.beyond, chart.ranges_beyond, chart.provisional) == ((), (), True)


def test_a_value_that_jumps_is_beyond_and_so_are_the_steps_to_and_from_it() -> None:
    values = [1.00, 1.01] * 12
    values[10] = 1.20
    chart = chart_individuals(values)
    assert chart.beyond == (10,)
    assert chart.ranges_beyond == (9, 10)
    assert not chart.provisional


def test_limits_from_a_baseline_judge_what_comes_after() -> None:
    chart = chart_individuals([1.00, 1.01, 1.00, 1.01, 1.00, 1.08], baseline=5)
    assert chart.centre_mm == pytest.approx(1.004)
    assert chart.beyond == (5,)


def test_equal_values_are_not_beyond_their_own_centre() -> None:
    chart = chart_individuals([0.1 + 0.2] * 7)
    assert (chart.beyond, chart.ranges_beyond) == ((), ())


def test_steady_values_are_beyond_about_as_seldom_as_three_sigma_means() -> None:
    rng = np.random.default_rng(8)
    beyond = sum(len(chart_individuals(rng.normal(1.0, 0.02, 50)).beyond) for _ in range(200))
    assert beyond / 10_000 < 0.008


@pytest.mark.parametrize("values", [[], [1.0]])
def test_fewer_than_two_values_make_no_chart(values: list[float]) -> None:
    with pytest.raises(ValueError, match="at least two values"):
        chart_individuals(values)


def test_impossible_material_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        chart_individuals([1.0, math.inf])
