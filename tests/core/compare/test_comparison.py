"""What changed, by how much, and whether the gauges can tell: one by one and all together."""

from math import hypot

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, norm

from app.core.compare.comparison import compare, tell_apart
from app.core.compare.curve_changes import find_common_fits
from app.core.compare.differences import chance_of, take_facing
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

BLADES_MM = (0.8636, 0.6096, 0.254, 0.0381)  # thick to thin, as read at the bench
U_STOP = 0.15 * 2**0.5  # of a difference of two stops, the service's usual uncertainty


def told(numbers, tip, right=None):
    """Tell a facing in half-millimetre numbers."""
    rails = [
        tuple(BladeStop(gap, n / 2) for gap, n in zip(BLADES_MM, side, strict=False))
        for side in (numbers, numbers if right is None else right)
    ]
    return FacingReadings(rails[0], rails[1], tip)


def compare_two(before, after, uncertainties=None, *, same_blades=True, laying=0.0, **more):
    """Compare two facings at their word, as the service does."""
    given_u = uncertainties or Uncertainties()
    sides = [
        take_facing(one, given_u, blades="same" if same_blades else which, laying_u_mm=laying)
        for which, one in enumerate((before, after))
    ]
    return compare(*sides, **{"trust_suspects": True, **more})


def find(compared, quantity, gap_mm=None, rail=None):
    """Find one change."""
    return next(
        one
        for one in compared.changes
        if (one.quantity, one.gap_mm, one.rail) == (quantity, gap_mm, rail)
    )


RECEIVED = told((5.5, 11.5, 21.5, 33.5), 1.05)
RETURNED = told((6.5, 13.5, 23.5, 35.5), 1.13)
LEFT_AS = told((5.5, 12, 23.5, 35.5), 1.05)


def test_the_card_of_a_whole_case_says_what_changed_and_how_surely():
    """Invented readings, each stop half a number or a whole one further in afterwards."""
    compared = compare_two(RECEIVED, RETURNED)
    tip = find(compared, "tip_opening")
    assert tip.difference == pytest.approx(0.08)
    assert tip.expanded_uncertainty == pytest.approx(2 * 0.01 * 2**0.5)
    assert tip.en == pytest.approx(0.08 / (2 * 0.01 * 2**0.5))
    assert tip.told_changed
    for gap, difference in zip(BLADES_MM, (0.5, 1.0, 1.0, 1.0), strict=True):
        for rail in ("left", "right"):
            change = find(compared, "position", gap, rail)
            assert change.difference == pytest.approx(difference)
            assert change.expanded_uncertainty == pytest.approx(2 * U_STOP, rel=0.01)
            assert change.changed
            assert change.told_changed
    length = find(compared, "facing_length", 0.0381, "mean")
    assert (length.before, length.after) == (16.75, 17.75)
    assert length.expanded_uncertainty == pytest.approx(2 * 0.15, rel=0.01)
    assert length.told_changed
    assert compared.joint.changed


def test_two_measurements_of_the_same_thing_have_not_changed():
    compared = compare_two(RECEIVED, RECEIVED)
    assert not compared.moved
    assert (compared.joint.chi_square, compared.joint.p) == (0.0, 1.0)
    for change in compared.changes:
        assert (change.difference, change.en, change.changed) == (0.0, 0.0, False)


def test_a_change_the_other_way_has_the_other_sign_and_the_same_verdict():
    there, back = compare_two(RECEIVED, RETURNED), compare_two(RETURNED, RECEIVED)
    for one, other in zip(there.changes, back.changes, strict=True):
        assert one.key == other.key
        assert one.difference == pytest.approx(-other.difference)
        assert one.en == pytest.approx(other.en)
        assert one.told_changed == other.told_changed
    assert there.joint.chi_square == pytest.approx(back.joint.chi_square)


@pytest.mark.parametrize(("difference_mm", "changed"), [(0.42, False), (0.43, True)])
def test_changed_means_more_than_the_expanded_uncertainty(difference_mm, changed):
    """Eₙ in the form of ISO 13528: U of the difference is 2·0.15·√2 = 0.4243 mm."""
    before = FacingReadings((BladeStop(0.254, 12.0),))
    after = FacingReadings((BladeStop(0.254, 12.0 + difference_mm),))
    position, length = compare_two(before, after).changes
    assert position.changed is changed
    assert length.quantity == "facing_length"
    assert length.rail == "left"


def test_eight_stops_moved_half_a_number_have_changed_though_none_shows_it_alone():
    """By hand: 0.25 mm on eight stops, u 0.2121 mm each: χ² = 8·(0.25/0.2121)² = 11.11, 4 dof."""
    moved = told((6, 12.5, 24, 36), 1.05)
    compared = compare_two(LEFT_AS, moved)
    assert not any(one.changed or one.told_changed for one in compared.changes)
    assert compared.joint.chi_square == pytest.approx(8 * (0.25 / U_STOP) ** 2)
    assert compared.joint.dof == 4
    assert compared.joint.p == pytest.approx(chi2.sf(11.111111, 4), rel=1e-6)
    assert compared.joint.changed
    assert compared.shifted
    assert compared.joint.shift_mm == pytest.approx(0.25)
    assert compared.joint.shift_u_mm == pytest.approx(U_STOP / 8**0.5)


def test_what_laying_the_glass_may_do_is_no_change():
    """Two sets, each laid with u 0.2 mm: the mean's variance grows by 2·0.2² (u 0.2926 mm)."""
    moved = told((6, 12.5, 24, 36), 1.05)
    compared = compare_two(LEFT_AS, moved, laying=0.2)
    assert not compared.moved
    assert compared.joint.shift_u_mm == pytest.approx((U_STOP**2 / 8 + 2 * 0.2**2) ** 0.5)
    # laid badly, but one rail against the other doesn't hang on it
    one_rail = told((5.5, 12, 23.5, 35.5), 1.05, right=(7, 13.5, 25, 37))
    assert compare_two(LEFT_AS, one_rail, laying=0.2).joint.changed


def test_the_same_blade_s_error_cancels_and_another_s_counts_twice():
    same, other = (
        compare_two(RECEIVED, RECEIVED, same_blades=one).changes for one in (True, False)
    )
    thin = [
        next(one for one in changes if one.gap_mm == 0.0381 and one.quantity == "position")
        for changes in (same, other)
    ]
    assert thin[0].expanded_uncertainty == pytest.approx(2 * U_STOP)
    assert thin[1].expanded_uncertainty > 1.25 * thin[0].expanded_uncertainty


def test_another_blade_moves_both_rails_alike():
    """A blade of another set that stops half a millimetre off on both rails explains both."""
    longer = told((5.5, 11.5, 21.5, 35), 1.05)
    assert compare_two(RECEIVED, longer, same_blades=True).joint.changed
    other = compare_two(RECEIVED, longer, same_blades=False)
    assert not other.moved
    # while as far apart on the two rails it cannot
    apart = told((5.5, 11.5, 21.5, 31.5), 1.05, right=(5.5, 11.5, 21.5, 35.5))
    assert compare_two(RECEIVED, apart, same_blades=False).joint.changed


def test_what_only_one_measurement_has_is_not_compared():
    bare = FacingReadings((BladeStop(0.127, 14.0),), (), None)
    for pair in ((RECEIVED, bare), (FacingReadings(), FacingReadings())):
        compared = compare_two(*pair)
        assert compared.changes == ()
        assert compared.joint.p is None
        assert not compared.moved


def test_one_blade_is_one_however_its_size_was_worked_out():
    before = FacingReadings((BladeStop(0.8636, 3.0),))
    after = FacingReadings((BladeStop(34 * 0.0254, 3.0),))
    assert [one.quantity for one in compare_two(before, after).changes] == [
        "position", "facing_length",
    ]  # fmt: skip


def test_a_blade_read_twice_counts_as_its_mean():
    twice = FacingReadings((BladeStop(0.254, 12.0), BladeStop(0.254, 12.5)))
    once = FacingReadings((BladeStop(0.254, 13.0),))
    change = compare_two(twice, once).changes[0]
    assert change.before == 12.25
    assert change.expanded_uncertainty == pytest.approx(2 * 0.15 * (1 + 1 / 2) ** 0.5)


def test_the_readings_own_uncertainties_are_used_where_they_are_given():
    before = FacingReadings((BladeStop(0.254, 12.0, position_u_mm=0.3),), (), 1.0, 0.02)
    after = FacingReadings((BladeStop(0.254, 13.0, position_u_mm=0.4),), (), 1.1, 0.03)
    position, tip, _ = compare_two(before, after, Uncertainties(0.01, 0.001, 0.001)).changes
    assert position.expanded_uncertainty == pytest.approx(2 * 0.5)
    assert tip.expanded_uncertainty == pytest.approx(2 * np.hypot(0.02, 0.03))


def test_a_curve_that_is_chosen_anew_is_no_change_of_the_break():
    """An arc before, with a straight tip after: both are held against a curve that fits both."""
    compared = compare_two(told((5.5, 11.5, 22, 33.5), 1.05), told((5, 11.5, 21.5, 33.5), 1.05))
    assert (compared.before.mean.chosen, compared.after.mean.chosen) == ("arc", "straight_tip")
    common = find_common_fits(compared.before, compared.after)
    assert common.before.curve == common.after.curve
    assert [common.before.refused, common.after.refused] == [False, False]
    point = find(compared, "break", None, "mean")
    assert point.before == common.before.parameters["break_mm"]
    assert point.after == common.after.parameters["break_mm"]
    assert not point.told_changed


def test_the_breaks_difference_is_told_no_more_surely_than_every_curve_that_fits_tells_it():
    compared = compare_two(told((5.5, 12, 23.5, 35.5), 1.07), told((5, 11, 21.5, 33.5), 1.05))
    point = find(compared, "break", None, "mean")
    rails = compared.before.mean, compared.after.mean
    others = []
    for fit in rails[0].fits:
        other = rails[1].fit(fit.curve)
        if other is None or fit.refused or other.refused or len(fit.parameters) > 3:
            continue
        by = other.parameters["break_mm"] - fit.parameters["break_mm"]
        u = hypot(fit.uncertainties["break_mm"], other.uncertainties["break_mm"])
        others.append(abs(by - point.difference) + 2 * u)
    assert len(others) > 1
    assert point.expanded_uncertainty == pytest.approx(max(others))


def test_without_a_curve_that_fits_both_the_breaks_are_not_compared():
    compared = compare_two(RECEIVED, RETURNED)
    assert (compared.before.mean.chosen, compared.after.mean.chosen) == ("arc", "straight_tip")
    assert not any(one.quantity in {"break", "radius"} for one in compared.changes)


def test_the_break_is_of_one_rail_only():
    """The left rail alone is cut: before, after and difference are all those of the mean."""
    before = told((5.5, 11.5, 21.5, 33.5), 1.05)
    compared = compare_two(before, told((6, 12, 22.5, 34.5), 1.05, right=(5.5, 11.5, 21.5, 33.5)))
    point = find(compared, "break", None, "mean")
    for value, analysis in ((point.before, compared.before), (point.after, compared.after)):
        assert value in [fit.parameters["break_mm"] for fit in analysis.mean.fits]
    assert 0.1 < point.difference < 0.4, "half of what the left rail's moved"


def test_a_reading_to_take_again_says_nothing():
    crooked = told((5.5, 11.5, 21.5, 33.5), 1.05, right=(5.5, 11.5, 25.5, 33.5))
    compared = compare_two(RECEIVED, crooked, trust_suspects=False)
    (suspect,) = compared.suspects
    assert suspect[0] == "right"
    assert find(compared, "position", 0.254, "right").changed
    assert not compared.moved
    trusted = compare_two(RECEIVED, crooked)
    assert find(trusted, "position", 0.254, "right").told_changed


def test_figures_are_told_apart_step_by_step():
    """Holm's example by hand: 0.05/4 = 0.0125, /3 = 0.0167, /2 = 0.025."""
    assert tell_apart([0.01, 0.04, 0.03, 0.005], 0.05) == {0, 3}
    assert tell_apart([0.013, 0.013], 0.05) == {0, 1}
    assert tell_apart([0.03, 0.03], 0.05) == frozenset()
    assert tell_apart([], 0.05) == frozenset()


SIGMAS, STEPS = (0.0, 0.004, 0.01, 0.02), (0.01, 0.02)


@pytest.mark.parametrize("sigma", SIGMAS)
@pytest.mark.parametrize("step", STEPS)
def test_steps_are_treated_exactly(sigma, step):
    """How rarely rounded readings of one thing differ by k steps, against 200,000 that do."""
    rng = np.random.default_rng(7)
    thing = rng.uniform(0, step, (200_000, 1))
    read = np.round((thing + sigma * rng.standard_normal((200_000, 2))) / step) * step
    apart = np.abs(read[:, 1] - read[:, 0])
    for k in (1, 2, 3, 4):
        seen = float(np.mean(apart > (k - 0.5) * step))
        said = chance_of(k * step, sigma * 2**0.5, step)
        assert said == pytest.approx(seen, abs=4 * (max(seen, 1e-5) / 200_000) ** 0.5)


def test_without_steps_the_chance_is_the_normal_s():
    for size in (0.0, 0.1, 0.42, 2.0):
        assert chance_of(size, 0.2) == pytest.approx(2 * norm.sf(size / 0.2))
        # and a step so fine that it doesn't matter
        assert chance_of(size, 0.2, 1e-6) == pytest.approx(2 * norm.sf(size / 0.2), abs=1e-5)


@pytest.mark.long
def test_of_untouched_facings_few_get_any_changed():
    """Normal errors as the service reckons with: one in twenty, or a crumb more."""
    rng = np.random.default_rng(8)

    def read():
        rails = [
            tuple(
                BladeStop(gap, stop + 0.15 * rng.standard_normal())
                for gap, stop in zip(BLADES_MM, (3.0, 6.0, 12.0, 18.0), strict=True)
            )
            for _ in range(2)
        ]
        return FacingReadings(rails[0], rails[1], 1.06 + 0.01 * rng.standard_normal())

    found = [compare_two(read(), read()) for _ in range(400)]
    any_changed = np.mean([one.moved for one in found])
    alone = np.mean([any(row.changed for row in one.changes) for one in found])
    assert any_changed <= 0.05 + 2 * (0.05 * 0.95 / 400) ** 0.5
    assert alone > 0.25, "while one by one a third would have been called changed"


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.integers(-6, 6), min_size=8, max_size=8),
    st.integers(-12, 12),
    st.booleans(),
    st.floats(0.0, 0.3),
)
def test_a_figure_is_told_changed_only_where_the_whole_may_be_said_to_have(
    moves, tip, same_blades, laying
):
    before, numbers = told((5.5, 12, 23.5, 35.5), 1.05), (5.5, 12, 23.5, 35.5)
    left, right = ([n + m / 2 for n, m in zip(numbers, half, strict=True)]
                   for half in (moves[:4], moves[4:]))  # fmt: skip
    after = told(left, 1.05 + tip / 100, right)
    compared = compare_two(before, after, same_blades=same_blades, laying=laying)
    for one in compared.told:
        assert one.changed, "a figure the gauges can't tell by itself is never named"
    assert not (compared.shifted and compared.unplaced)
    if compared.joint.changed:
        assert compared.told or compared.shifted or compared.unplaced
    assert 0.0 <= compared.joint.p <= 1.0
    assert compared.joint.p == pytest.approx(chi2.sf(compared.joint.chi_square, compared.joint.dof))
