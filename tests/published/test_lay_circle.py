"""Readings of a lay on an exact circle, and how well they tell its radius.

Computed (scipy 1.17.1, numpy 2.4.6): x = √(2Rt − t²) from the tangent point for a blade t. A
check of arithmetic against an independent program, not a publication.
"""

import numpy as np
import pytest

from app.core.facing.curves import CURVES
from app.core.facing.fitting import fit_curves, lay_out
from app.core.values.readings import BladeStop, Uncertainties
from tests.core.facing.simulated import reach_of
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
    b, ((u, dx_dh, _),) = reach_of(arc, parameters, blade)
    assert b - u == pytest.approx(reading, rel=1e-12)
    assert dx_dh == pytest.approx(slope, rel=1e-12)
    assert float(arc.gap_at(parameters, reading)) == pytest.approx(blade, rel=1e-11)
    assert float(arc.gap_at(parameters, 0.0)) == pytest.approx(tip, abs=1e-9)


@pytest.mark.parametrize("radius", [145.0, 125.8, 121.2])
def test_a_fit_through_the_rows_of_one_circle_gives_it_back(radius):
    rows = np.array([row for row in ROWS if row[0] == radius])
    found = fit_arc(rows[:, 3], rows[:, 4], 0.15, 0.003)
    assert list(found.parameters.values()) == pytest.approx([rows[0, 1], radius], rel=1e-6)
    assert found.tip_opening_mm == pytest.approx(rows[0, 2], abs=1e-6)


def fit_arc(gap, position, position_u, gap_u):
    """Fit an arc; the readings are equally weighed where the blade's own error is nothing."""
    stops = map(BladeStop, gap.tolist(), position.tolist())
    readings = lay_out(list(stops), None, Uncertainties(position_u, gap_u))
    return fit_curves(readings, ["arc"])["arc"]


def test_rounding_alone_moves_the_radius_by_a_standard_uncertainty():
    """For R = 145, x rounded to 0.5 mm, unweighted: R = 148.84, u 3.84; x₀ = −0.028, u 0.138.

    Their correlation is −0.916. There u is scaled by the residuals; ours is for known weights.
    """
    gap = 25.4 * np.array([0.0015, 0.005, 0.010, 0.016, 0.024, 0.034])
    x = np.array([3.5, 6.0, 8.5, 11.0, 13.5, 16.0])
    found = fit_arc(gap, 17.0 - x, 1.0, 1e-9)
    scale = np.sqrt(found.chi_square / found.dof)
    (b, radius), (b_u, radius_u) = found.parameters.values(), found.uncertainties.values()
    assert radius == pytest.approx(148.84, abs=0.005)
    assert radius_u * scale == pytest.approx(3.84, abs=0.005)
    assert 17.0 - b == pytest.approx(-0.028, abs=0.0005)
    assert b_u * scale == pytest.approx(0.138, abs=0.0005)
    assert abs(found.covariance[0][1] / (b_u * radius_u)) == pytest.approx(0.916, abs=0.0005)
