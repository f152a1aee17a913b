"""Morse tapers 0 to 7: known cones against which the bore's taper and angle are checked.

Published: end diameters (two trade charts) and the lengths of 1 to 6 to two decimals. From
memory: lengths as exact fractions, 0 and 7's lengths, taper per foot, and ISO 296's rates
1:N. A length column of one chart that is not the distance between the two diameters was left
out: it gives a taper 3 % too steep.
"""

import pytest

from app.core.compare.bore import BorePoint, fit_bore
from tests.published.data_files import read_rows

INCH_MM = 25.4
TAPER_PER_FOOT = [0.62460, 0.59858, 0.59941, 0.60235, 0.62326, 0.63151, 0.62565, 0.62400]
RATE_ONE_IN = [19.212, 20.047, 20.020, 19.922, 19.254, 19.002, 19.180, None]


@pytest.mark.parametrize("number", range(8))
@pytest.mark.parametrize("large_end_first", [True, False])
def test_taper_rate_and_angle_are_those_of_the_morse_taper(
    number: int, large_end_first: bool
) -> None:
    row = read_rows("morse_taper.csv")[number]
    large, small = float(row["D_large_in"]) * INCH_MM, float(row["d_small_in"]) * INCH_MM
    length = float(row["length_in"]) * INCH_MM
    ends = (large, small) if large_end_first else (small, large)
    bore = fit_bore([BorePoint(0.0, ends[0]), BorePoint(length, ends[1])])
    assert bore.taper_per_mm is not None
    assert bore.taper_per_mm * 12 == pytest.approx(TAPER_PER_FOOT[number], abs=1.1e-5)
    if RATE_ONE_IN[number] is not None:
        assert 1 / bore.taper_per_mm == pytest.approx(RATE_ONE_IN[number], abs=6e-4)
    assert bore.included_angle_deg == pytest.approx(float(row["included_angle_deg"]), rel=1e-9)
    assert bore.exit_diameter_mm == pytest.approx(ends[0], rel=1e-12)
    assert bore.direction == ("narrows inwards" if large_end_first else "widens inwards")
