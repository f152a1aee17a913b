"""Evenness: the verdicts a maker would give, with the usual gauges and the usual tolerance."""

import pytest

from app.core.analysis import analyse_facing
from app.core.readings import BladeStop, FacingReadings, Uncertainties

GAPS = (0.8636, 0.6096, 0.254, 0.0381)


def rails(left, right):
    return FacingReadings(
        *(
            tuple(BladeStop(gap, number / 2) for gap, number in zip(GAPS, numbers, strict=True))
            for numbers in (left, right)
        )
    )


@pytest.mark.parametrize(
    ("number", "verdict"),
    [(24, "even"), (24.5, "even"), (25, "cannot tell"), (25.5, "uneven"), (22.5, "uneven")],
)
def test_half_a_number_is_even_one_is_doubtful_and_more_is_uneven(number, verdict):
    found = analyse_facing(rails((6, 12, 24, 36), (6, 12, number, 36))).evenness
    assert [row.verdict for row in found] == ["even", "even", verdict, "even"]


def test_a_coarse_glass_cannot_tell_and_a_fine_one_can():
    facing = rails((6, 12, 24, 36), (6, 12, 24.8, 36))
    coarse = analyse_facing(facing, Uncertainties(position_mm=0.4)).evenness[2]
    fine = analyse_facing(facing, Uncertainties(position_mm=0.02)).evenness[2]
    assert coarse.verdict == "cannot tell"
    assert fine.verdict == "even"


def test_the_same_difference_is_less_height_at_the_thinner_blade():
    found = analyse_facing(rails((6, 12, 24, 36), (7, 13, 25, 37))).evenness
    heights = [row.height_difference_um for row in found]
    assert heights == sorted(heights, reverse=True)
    assert heights[-1] < heights[0] / 2
