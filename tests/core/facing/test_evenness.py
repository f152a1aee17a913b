"""Evenness: the verdicts a maker would give, with the usual gauges and the usual tolerance."""

import pytest

from app.core.facing.analysis import analyse_facing
from app.core.facing.evenness import CANNOT_TELL, EVEN, UNEVEN, judge_evenness, pair_blades
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

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
    [(23.5, "even"), (24, "even"), (24.5, "cannot tell"), (25, "uneven"), (22, "uneven")],
)
def test_half_a_number_is_even_one_is_doubtful_and_more_is_uneven(number, verdict):
    found = analyse_facing(rails((5.5, 11.5, 23.5, 35.5), (5.5, 11.5, number, 35.5))).evenness
    assert [row.verdict for row in found] == ["even", "even", verdict, "even"]


def test_a_coarse_glass_cannot_tell_and_a_fine_one_can():
    facing = rails((5.5, 11.5, 23.5, 35.5), (5.5, 11.5, 24.3, 35.5))
    coarse = analyse_facing(facing, Uncertainties(position_mm=0.4)).evenness[2]
    fine = analyse_facing(facing, Uncertainties(position_mm=0.02)).evenness[2]
    assert coarse.verdict == "cannot tell"
    assert fine.verdict == "even"


def test_the_same_difference_is_less_height_at_the_thinner_blade():
    found = analyse_facing(rails((5.5, 11.5, 23.5, 35.5), (6.5, 12.5, 24.5, 36.5))).evenness
    heights = [row.height_difference_um for row in found]
    assert heights == sorted(heights, reverse=True)
    assert heights[-1] < heights[0] / 2


BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)
STOPS_MM = (18.0, 12.0, 6.0, 3.0)


def facing(*right_minus_left_mm):
    left = tuple(map(BladeStop, BLADES_MM, STOPS_MM))
    right = tuple(
        BladeStop(gap, stop + off)
        for gap, stop, off in zip(BLADES_MM, STOPS_MM, right_minus_left_mm, strict=False)
    )
    return FacingReadings(left, right, 1.1)


@pytest.mark.parametrize(
    ("difference", "tolerance", "verdict"),
    [
        # u of a difference, and so the guard, is 0.15·√2 = 0.2121 mm
        (0.0, 0.5, EVEN),
        (0.28, 0.5, EVEN),
        (-0.28, 0.5, EVEN),
        (0.29, 0.5, CANNOT_TELL),
        (0.71, 0.5, CANNOT_TELL),
        (0.72, 0.5, UNEVEN),
        (-0.72, 0.5, UNEVEN),
        (0.0, 0.2, CANNOT_TELL),
        (0.21, 0.0, CANNOT_TELL),
        (0.22, 0.0, UNEVEN),
    ],
)
def test_a_verdict_keeps_a_guard_of_one_u_on_either_side(difference, tolerance, verdict):
    found = analyse_facing(facing(*[difference] * 4), evenness_tolerance_mm=tolerance).evenness
    assert [row.verdict for row in found] == [verdict] * 4


def test_the_difference_is_right_minus_left_and_its_height_follows_the_slope():
    rows = analyse_facing(facing(0.5, 0.5, 0.5, 0.5)).evenness
    assert [row.position_difference_mm for row in rows] == pytest.approx([0.5] * 4)
    assert [row.gap_mm for row in rows] == list(BLADES_MM)
    fit = analyse_facing(facing(0.5, 0.5, 0.5, 0.5)).mean.chosen_fit
    for row, reach in zip(rows, fit.reach_per_gap, strict=True):
        assert row.height_difference_um == pytest.approx(500.0 / reach)
        assert row.u_um == pytest.approx(1000 * 0.15 * 2**0.5 / reach)
    heights = [row.height_difference_um for row in rows]
    assert heights == sorted(heights), "half a number is less height at a thinner blade"
    assert heights[0] < heights[-1] / 3


def test_the_blades_own_error_is_common_and_cancels():
    plain = analyse_facing(facing(0.2, 0.2, 0.2, 0.2), Uncertainties(gap_mm=1e-5)).evenness
    worn = analyse_facing(facing(0.2, 0.2, 0.2, 0.2), Uncertainties(gap_mm=0.05)).evenness
    assert [row.position_u_mm for row in plain] == [row.position_u_mm for row in worn]


def test_only_blades_felt_on_both_rails_are_compared():
    rows = analyse_facing(facing(0.0, 0.0)).evenness
    assert [row.gap_mm for row in rows] == [0.0381, 0.254]
    assert analyse_facing(facing()).evenness == ()


def test_one_blade_without_a_tip_gives_no_slope_but_still_a_verdict():
    one = FacingReadings((BladeStop(0.0381, 18.0),), (BladeStop(0.0381, 16.0),))
    (row,) = analyse_facing(one).evenness
    assert row.verdict == UNEVEN
    assert row.height_difference_um is None
    assert row.u_um is None


def test_the_mean_of_both_rails_halves_the_readers_error_but_not_the_blades():
    left = (BladeStop(0.254, 12.0), BladeStop(0.254, 12.2), BladeStop(0.6096, 6.0))
    right = (BladeStop(0.254, 12.4, gap_u_mm=0.004), BladeStop(0.6096, 6.4))
    first, second = (pair.mean_stop() for pair in pair_blades(left, right, 0.15, 0.003))
    assert first.position_mm == pytest.approx((12.1 + 12.4) / 2)
    assert first.position_u_mm == pytest.approx(0.15 * (0.5 + 1.0) ** 0.5 / 2)
    assert first.gap_u_mm == 0.004
    assert second.position_u_mm == pytest.approx(0.15 / 2**0.5)
    assert second.gap_u_mm == 0.003


@pytest.mark.parametrize("tolerance", [-0.1, float("nan"), float("inf")])
def test_a_tolerance_must_be_a_length(tolerance):
    with pytest.raises(ValueError, match="tolerance"):
        analyse_facing(facing(0.0, 0.0, 0.0, 0.0), evenness_tolerance_mm=tolerance)


def test_a_list_says_it_without_a_fit_as_the_whole_analysis_does(monkeypatch):
    """Verdicts need no slope: a fit gives only the heights."""
    cases = [
        rails((5.5, 11.5, 23.5, 35.5), (5.5, 11.5, 23.5, 35.5)),
        rails((5.5, 11.5, 23.5, 35.5), (5.5, 12.5, 25.5, 37.5)),
        rails((5.5, 11.5, 23.5, 35.5), (5.5, 11.5, 24.5, 35.5)),
        rails((6, 12, 30, 36), (6, 12, 31, 36)),  # every curve refused
        FacingReadings(facing(0.0).left, facing(0.6).right),
        FacingReadings(facing(0.0).left, ()),
    ]
    whole = [analyse_facing(one).evenness for one in cases]
    monkeypatch.setattr("app.core.facing.rails.fit_curves", None)
    for one, rows in zip(cases, whole, strict=True):
        listed = judge_evenness(pair_blades(one.left, one.right, 0.15, 0.003))
        assert [row.verdict for row in listed] == [row.verdict for row in rows]
        assert all(row.height_difference_um is None for row in listed)
    assert {row.verdict for rows in whole for row in rows} == {EVEN, UNEVEN, CANNOT_TELL}
