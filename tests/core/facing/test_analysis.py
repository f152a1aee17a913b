"""What the readings of a facing say: rails first, then the tip."""

import pytest

from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.values.readings import BladeStop, FacingReadings

BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)  # 0.0015, 0.010, 0.024, 0.034 in


def facing(left=(36, 24, 12, 6), right=None, tip=1.06):
    """Make a facing told in half-millimetre numbers, thin to thick."""

    def rail(numbers):
        return tuple(BladeStop(g, n / 2) for g, n in zip(BLADES_MM, numbers, strict=False))

    return FacingReadings(rail(left), rail(left if right is None else right), tip)


def test_a_facing_in_trade_use_is_an_arc_whose_tip_stands_inside_it():
    """Common practice, no source; the figures were computed for design.md 5."""
    rail = analyse_facing(facing()).left
    arc = rail.fit("arc")
    assert rail.judgement == "chosen"
    assert rail.chosen == "arc"
    assert not rail.tip_in_fit
    assert arc.chi_square == pytest.approx(2.5, abs=0.05)
    assert arc.p == pytest.approx(0.28, abs=0.005)
    assert arc.parameters["break_mm"] == pytest.approx(22.2, abs=0.05)
    assert arc.parameters["radius_mm"] == pytest.approx(214, abs=0.5)
    assert arc.tip_opening_mm == pytest.approx(1.16, abs=0.005)
    assert rail.tip_offset_mm == pytest.approx(-0.10, abs=0.005)
    assert rail.tip_offset_u_mm < 0.03


def test_the_facing_length_is_never_the_break_point():
    rail = analyse_facing(facing()).left
    for fit in rail.fits:
        assert fit.parameters["break_mm"] > fit.facing_length_mm + 3


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_a_position_no_gauge_can_give_is_refused_by_name(bad):
    readings = FacingReadings(left=(BladeStop(0.0381, 18.0), BladeStop(0.254, bad)))
    with pytest.raises(MalformedReading, match="left rail, reading 2") as caught:
        analyse_facing(readings)
    assert caught.value.field == "left.1.position_mm"
