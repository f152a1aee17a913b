"""What changed, by how much, and whether the gauges can tell."""

import numpy as np
import pytest

from app.core.compare.comparison import compare_facings
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

BLADES_MM = (0.8636, 0.6096, 0.254, 0.0381)  # thick to thin, as read at the bench


def told(numbers, tip, right=None):
    """Tell a facing in half-millimetre numbers."""
    rails = [
        tuple(BladeStop(gap, n / 2) for gap, n in zip(BLADES_MM, side, strict=False))
        for side in (numbers, numbers if right is None else right)
    ]
    return FacingReadings(rails[0], rails[1], tip)


RECEIVED = told((5.5, 11.5, 21.5, 33.5), 1.05)
RETURNED = told((6.5, 13.5, 23.5, 35.5), 1.13)


def test_the_card_of_a_whole_case_says_what_changed_and_how_surely():
    """Invented readings, each stop half a number or a whole one further in afterwards."""
    changes = compare_facings(RECEIVED, RETURNED)
    found = {(c.quantity, c.gap_mm, c.rail): c for c in changes}
    tip = found["tip_opening", None, None]
    assert tip.difference == pytest.approx(0.08)
    assert tip.expanded_uncertainty == pytest.approx(2 * 0.01 * 2**0.5)
    assert tip.en == pytest.approx(0.08 / (2 * 0.01 * 2**0.5))
    assert tip.changed
    for gap, difference in zip(BLADES_MM, (0.5, 1.0, 1.0, 1.0), strict=True):
        for rail in ("left", "right"):
            change = found["position", gap, rail]
            assert change.difference == pytest.approx(difference)
            assert change.expanded_uncertainty == pytest.approx(2 * 0.15 * 2**0.5, rel=0.01)
            assert change.changed
    length = found["facing_length", 0.0381, "mean"]
    assert (length.before, length.after) == (16.75, 17.75)
    assert length.expanded_uncertainty == pytest.approx(2 * 0.15, rel=0.01)
    break_point = found["break", None, "mean"]
    assert break_point.before > length.before + 2, "the break lies further than the facing length"
    assert break_point.changed


def test_two_measurements_of_the_same_thing_have_not_changed():
    for change in compare_facings(RECEIVED, RECEIVED):
        assert change.difference == 0.0
        assert change.en == 0.0
        assert not change.changed
        assert change.verdict == "no change the gauges can tell"


def test_a_change_the_other_way_has_the_other_sign_and_the_same_verdict():
    there, back = compare_facings(RECEIVED, RETURNED), compare_facings(RETURNED, RECEIVED)
    for one, other in zip(there, back, strict=True):
        assert (one.quantity, one.rail) == (other.quantity, other.rail)
        assert one.difference == pytest.approx(-other.difference)
        assert one.en == pytest.approx(other.en)


@pytest.mark.parametrize(("difference_mm", "changed"), [(0.42, False), (0.43, True)])
def test_changed_means_more_than_the_expanded_uncertainty(difference_mm, changed):
    """Eₙ in the form of ISO 13528: U of the difference is 2·0.15·√2 = 0.4243 mm."""
    before = FacingReadings((BladeStop(0.254, 12.0),))
    after = FacingReadings((BladeStop(0.254, 12.0 + difference_mm),))
    position, length = compare_facings(before, after)
    assert position.changed is changed
    assert length.quantity == "facing_length"
    assert length.rail == "left"


def test_other_blades_count_their_own_error_twice_the_same_blades_hardly():
    same = compare_facings(RECEIVED, RETURNED)
    other = compare_facings(RECEIVED, RETURNED, same_blades=False)
    thin = [
        next(c for c in changes if c.gap_mm == 0.0381 and c.quantity == "position")
        for changes in (same, other)
    ]
    assert thin[1].expanded_uncertainty > 1.25 * thin[0].expanded_uncertainty


def test_what_only_one_measurement_has_is_not_compared():
    bare = FacingReadings((BladeStop(0.127, 14.0),), (), None)
    assert compare_facings(RECEIVED, bare) == ()
    assert compare_facings(FacingReadings(), FacingReadings()) == ()


def test_the_readings_own_uncertainties_are_used_where_they_are_given():
    before = FacingReadings((BladeStop(0.254, 12.0, position_u_mm=0.3),), (), 1.0, 0.02)
    after = FacingReadings((BladeStop(0.254, 13.0, position_u_mm=0.4),), (), 1.1, 0.03)
    position, tip, _ = compare_facings(before, after, Uncertainties(0.01, 0.001, 0.001))
    assert position.expanded_uncertainty == pytest.approx(2 * 0.5)
    assert tip.expanded_uncertainty == pytest.approx(2 * np.hypot(0.02, 0.03))


def test_in_repeated_measurements_of_one_facing_few_are_called_changed():
    """With k = 2 about 4.6 in 100 differences of unchanged things exceed U."""
    rng = np.random.default_rng(8)
    called = []
    for _ in range(250):
        twice = [
            FacingReadings(
                tuple(
                    BladeStop(gap, stop + 0.15 * rng.standard_normal())
                    for gap, stop in zip(BLADES_MM, (3.0, 6.0, 12.0, 18.0), strict=True)
                ),
                (),
                1.06 + 0.01 * rng.standard_normal(),
            )
            for _ in range(2)
        ]
        called += [
            change.changed
            for change in compare_facings(*twice)
            if change.quantity in {"position", "tip_opening"}
        ]
    assert 0.03 < np.mean(called) < 0.065
