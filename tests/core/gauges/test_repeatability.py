"""The repeatability study on small hand-worked sets and on bad material."""

import math

import numpy as np
import pytest

from app.core.gauges.repeatability import study_repeatability


def test_unequal_numbers_of_repeats_are_worked_by_hand() -> None:
    # deviations from the means: ±0.5 about 11.5; −1, 0, 1 about 20; one reading alone
    study = study_repeatability([[11.0, 12.0], [19.0, 20.0, 21.0], [15.0]])
    assert study.within_ss == pytest.approx(2.5)
    assert study.within_dof == 3
    assert study.repeatability_mm == pytest.approx(math.sqrt(2.5 / 3))
    assert study.means_mm == pytest.approx((11.5, 20.0, 15.0))
    assert study.deviations_mm == (pytest.approx(math.sqrt(0.5)), pytest.approx(1.0), None)
    # grand mean 98/6; Σn(x̄ − x̄)² by hand
    grand = 98 / 6
    by_hand = 2 * (11.5 - grand) ** 2 + 3 * (20 - grand) ** 2 + (15 - grand) ** 2
    assert study.between_ss == pytest.approx(by_hand)


def test_one_piece_read_often_is_its_own_standard_deviation() -> None:
    study = study_repeatability([[1.0, 2.0, 4.0, 5.0]])
    assert study.repeatability_mm == pytest.approx(np.std([1, 2, 4, 5], ddof=1))
    assert (study.f, study.p, study.between_dof) == (None, None, 0)


def test_the_interval_holds_the_true_deviation_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(2000):
        readings = rng.normal([[17.0], [18.0], [20.0]], 0.2, (3, 4))
        study = study_repeatability(readings.tolist())
        held += study.low_mm <= 0.2 <= study.high_mm
    assert 0.935 < held / 2000 < 0.965


def test_equal_repeats_say_that_only_the_resolution_is_known() -> None:
    study = study_repeatability([[17.0, 17.0], [18.0, 18.0]])
    assert study.repeatability_mm == 0.0
    assert (study.f, study.p, study.odd_piece) == (None, None, None)
    assert "Every repeat was the same" in study.note


def test_a_piece_that_repeats_much_worse_is_named() -> None:
    steady = [17.0, 17.1, 16.9, 17.0]
    study = study_repeatability([steady, steady, [17.0, 19.0, 15.0, 18.0], steady])
    assert study.odd_piece == 2


def test_ordinary_scatter_seldom_names_a_piece() -> None:
    rng = np.random.default_rng(6)
    named = sum(
        study_repeatability(rng.normal(17.0, 0.2, (5, 3)).tolist()).odd_piece is not None
        for _ in range(1000)
    )
    assert named <= 20


@pytest.mark.parametrize("pieces", [[], [[]], [[17.0]], [[17.0], [18.0]]])
def test_without_repeats_there_is_nothing_to_study(pieces: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="Read at least one piece twice"):
        study_repeatability(pieces)


def test_a_reading_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        study_repeatability([[17.0, math.nan]])
