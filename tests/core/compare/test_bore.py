"""The bore's line on few and on many diameters, and on bad material."""

import math

import numpy as np
import pytest

from app.core.compare.bore import BorePoint, fit_bore


def test_one_diameter_is_a_diameter_only_and_says_so() -> None:
    bore = fit_bore([BorePoint(0.0, 14.95, 0.02)])
    assert bore.exit_diameter_mm == pytest.approx(14.95)
    assert bore.uncertainties["exit_diameter_mm"] == pytest.approx(0.02)
    assert (bore.taper_per_mm, bore.included_angle_deg, bore.direction) == (None, None, None)
    assert "second depth is needed" in bore.note


def test_one_depth_inside_says_nothing_of_the_exit() -> None:
    bore = fit_bore([BorePoint(5.0, 14.9), BorePoint(5.0, 14.7)])
    assert bore.exit_diameter_mm is None
    assert bore.mean_diameter_mm == pytest.approx(14.8)
    assert bore.residuals_mm == pytest.approx((0.1, -0.1))


def test_two_depths_without_uncertainties_leave_the_uncertainty_unknown() -> None:
    bore = fit_bore([BorePoint(0.0, 15.0), BorePoint(10.0, 14.8)])
    assert bore.taper_per_mm == pytest.approx(0.02)
    assert bore.uncertainties == dict.fromkeys(bore.uncertainties)
    assert (bore.direction, bore.dof) == ("narrows inwards", 0)


def test_two_depths_with_uncertainties_may_be_no_surer_than_a_cylinder() -> None:
    bore = fit_bore([BorePoint(0.0, 15.0, 0.02), BorePoint(10.0, 14.98, 0.02)])
    assert bore.direction == "cannot tell from a cylinder"
    assert bore.uncertainties["taper_per_mm"] == pytest.approx(math.sqrt(2) * 0.02 / 10)


def test_even_equal_diameters_can_only_not_be_told_from_a_cylinder() -> None:
    bore = fit_bore([BorePoint(d, 15.0) for d in (0.0, 5.0, 10.0)])
    assert bore.taper_per_mm == pytest.approx(0.0, abs=1e-15)
    assert bore.direction == "cannot tell from a cylinder"


def test_the_uncertainty_of_the_angle_is_that_of_many_repeats() -> None:
    rng = np.random.default_rng(9)
    depths = np.array([0.0, 5.0, 10.0, 15.0])
    angles = []
    for _ in range(3000):
        diameters = 15.0 - 0.03 * depths + rng.normal(0, 0.02, 4)
        bore = fit_bore([BorePoint(d, v, 0.02) for d, v in zip(depths, diameters, strict=True)])
        angles.append(bore.included_angle_deg)
    assert bore.uncertainties["included_angle_deg"] == pytest.approx(np.std(angles), rel=0.05)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "at least one bore diameter"),
        ([BorePoint(-1.0, 15.0)], "Bore point 1: the depth"),
        ([BorePoint(0.0, 15.0), BorePoint(5.0, 0.0)], "Bore point 2: the diameter"),
        ([BorePoint(0.0, math.nan)], "diameter"),
        ([BorePoint(0.0, 15.0, 0.0)], "uncertainty"),
        ([BorePoint(0.0, 15.0, 0.1), BorePoint(5.0, 15.0)], "of every bore diameter, or of none"),
        ([BorePoint(20.0, 1.0), BorePoint(21.0, 15.0)], "check the depths"),
    ],
)
def test_impossible_points_are_refused_in_words(points: list[BorePoint], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fit_bore(points)
