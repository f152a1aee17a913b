"""The inch is 25.4 mm exactly: international yard and pound agreement, 1959.

NIST SP 811 (2008), appendix B. From memory (the publication was not opened); not in doubt.
"""

from fractions import Fraction

import pytest

from app.core.values.units import MM_PER_INCH, SCALES, parse_length


def test_an_inch_is_exactly_25_4_mm():
    assert Fraction(127, 5) == MM_PER_INCH


@pytest.mark.parametrize(
    ("inches", "mm"),
    [
        ("0.0015", 0.0381),
        ("0.005", 0.127),
        ("0.010", 0.254),
        ("0.016", 0.4064),
        ("0.024", 0.6096),
        ("0.034", 0.8636),
        ("0.050", 1.27),
    ],
)
def test_the_usual_blades_in_mm(inches, mm):
    assert parse_length(inches, SCALES["bore_in"]) == mm
