"""Circular segments: the arc's height over its tangent is a sagitta.

Published: worked numbers of help.matheass.eu/en/CircularSections.html, and the formulas of
planetcalc.com/1421. The table "Segments of circles for radius = 1" has its layout from memory
(Machinery's Handbook, page not found); its rows were computed from the formulas, so they check
rounding and arithmetic only. R = (L² + h²)/(2h) for a chord that begins at the tangent point is
from memory, and the same as the published R = h/2 + c²/(8h) with c = 2L.
"""

import math

import pytest

from app.core.facing.curves import CURVES
from tests.core.facing.simulated import position_of
from tests.published.data_files import read_columns

ARC = CURVES["arc"]


def height(radius, half_chord):
    """Give the sagitta: how far an arc has risen after half its chord."""
    return float(ARC.gap_at({"break_mm": half_chord, "radius_mm": radius}, 0.0))


def test_the_worked_example_of_45_degrees():
    assert height(1.2732395, 0.97449536 / 2) == pytest.approx(0.096919589, abs=1e-8)


def test_the_worked_example_of_a_chord_of_21_and_a_sagitta_of_6():
    assert height(12.1875, 10.5) == pytest.approx(6.0, abs=1e-12)
    assert 10.5 - position_of(ARC, {"break_mm": 10.5, "radius_mm": 12.1875}, 6.0) == pytest.approx(
        10.5, abs=1e-12
    )


@pytest.mark.parametrize(
    ("angle", "printed_height", "printed_chord"),
    list(zip(*read_columns("segments_r1.csv", "angle_deg", "height", "chord"), strict=True)),
)
def test_a_row_of_the_segment_table(angle, printed_height, printed_chord):
    half_chord = math.sin(math.radians(angle) / 2)
    assert 2 * half_chord == pytest.approx(printed_chord, abs=6e-7)
    exact = 2 * math.sin(math.radians(angle) / 4) ** 2  # 1 − cos without cancellation
    if angle < 180:
        assert height(1.0, half_chord) == pytest.approx(exact, rel=1e-12)
    assert exact == pytest.approx(printed_height, abs=6e-7)


@pytest.mark.parametrize("facing_mm", [(17.0, 1.0), (20.0, 1.6), (24.0, 2.4)])
def test_the_radius_from_length_and_opening(facing_mm):
    length, opening = facing_mm
    radius = (length**2 + opening**2) / (2 * opening)
    assert radius == pytest.approx(opening / 2 + (2 * length) ** 2 / (8 * opening))
    assert height(radius, length) == pytest.approx(opening, rel=1e-14)
