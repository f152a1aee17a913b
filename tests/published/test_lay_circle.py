"""Readings of a lay on an exact circle, and how well they tell its radius.

Computed (scipy 1.17.1, numpy 2.4.6): x = √(2Rt − t²) from the tangent point for a blade t. A
check of arithmetic against an independent program, not a publication.
"""

import numpy as np
import pytest
from app.core.facing.descent import ReadingArrays

from app.core.facing.curves import CURVES
from app.core.facing.fitting import FITTED, fit_curves
from tests.published.data_files import read_columns

ROWS = list(
    zip(
        *read_columns(
            "lay_circle_checks.csv",
            "R_mm", "L_mm", "tip_mm", "feeler_mm", "reading_from_tip_mm", "dx_dh",
        ),
        strict=True,
    )
)  # fmt: skip


@pytest.mark.parametrize("row", ROWS)
def test_where_a_blade_stops_on_a_circle(row):
    radius, length, tip, blade, reading, slope = row
    arc, parameters = CURVES["arc"], {"break_mm": length, "radius_mm": radius}
    assert float(arc.position_of(parameters, blade)) == pytest.approx(reading, rel=1e-12)
    assert float(arc.gap_at(parameters, reading)) == pytest.approx(blade, rel=1e-11)
    assert float(arc.gap_at(parameters, 0.0)) == pytest.approx(tip, abs=1e-9)
    assert 1 / float(arc.slope_of(parameters, blade)) == pytest.approx(slope, rel=1e-12)


@pytest.mark.parametrize("radius", [145.0, 125.8, 121.2])
def test_a_fit_through_the_rows_of_one_circle_gives_it_back(radius):
    rows = np.array([row for row in ROWS if row[0] == radius])
    count = len(rows)
    fits = fit_curves(readings(rows[:, 3], rows[:, 4], np.full(count, 0.15), 0.003), ["arc"])
    assert fits.values[:2, 0, 0] == pytest.approx([rows[0, 1], radius], rel=1e-6)
    assert fits.tip_opening[0, 0] == pytest.approx(rows[0, 2], abs=1e-6)


def readings(gap, position, position_u, gap_u):
    """One set of readings, equally weighed where the blade's own error is nothing."""
    column = np.ones((len(gap), 1))
    return ReadingArrays(
        gap[:, None], position[:, None], gap_u * column, position_u[:, None], column,
        np.ones(1), np.ones(1), np.zeros(1),
    )  # fmt: skip


def test_rounding_alone_moves_the_radius_by_a_standard_uncertainty():
    """For R = 145, x rounded to 0.5 mm, unweighted: R = 148.84, u 3.84; x₀ = −0.028, u 0.138.

    Their correlation is −0.916. There u is scaled by the residuals; ours is for known weights.
    """
    gap = 25.4 * np.array([0.0015, 0.005, 0.010, 0.016, 0.024, 0.034])
    x = np.array([3.5, 6.0, 8.5, 11.0, 13.5, 16.0])
    fits = fit_curves(readings(gap, 17.0 - x, np.ones(6), 1e-9), ["arc"])
    assert fits.status[0, 0] == FITTED
    scale = np.sqrt(fits.chi_square[0, 0] / fits.dof[0, 0])
    b, radius = fits.values[:2, 0, 0]
    assert radius == pytest.approx(148.84, abs=0.005)
    assert fits.u[1, 0, 0] * scale == pytest.approx(3.84, abs=0.005)
    assert 17.0 - b == pytest.approx(-0.028, abs=0.0005)
    assert fits.u[0, 0, 0] * scale == pytest.approx(0.138, abs=0.0005)
    correlation = fits.covariance[0, 1, 0, 0] / (fits.u[0, 0, 0] * fits.u[1, 0, 0])
    assert abs(correlation) == pytest.approx(0.916, abs=0.0005)
