"""Whatever is written down, the analysis answers clearly: no crash, no warning, no silent change.

Warnings are errors in this suite, so any that numpy would give fails here.
"""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.core.compare.comparison import compare
from app.core.compare.comparison_words import tell_comparison
from app.core.compare.differences import take_facing
from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.facing.curves import CURVES
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

usual_gaps = st.sampled_from([0.0381, 0.0381, 0.127, 0.254, 0.4064, 0.6096, 0.8636, 1.27])
any_gaps = usual_gaps | st.floats(1e-5, 1000.0)
positions = (
    st.floats(0.0, 40.0) | st.sampled_from([0.0, 3.0, 3.0, 12.0, 18.0]) | st.floats(0.0, 1000.0)
)
rails = st.lists(st.builds(BladeStop, any_gaps, positions), max_size=7).map(tuple)
facings = st.builds(FacingReadings, rails, rails, st.none() | st.floats(1e-5, 1000.0))
spreads = st.just(Uncertainties()) | st.builds(
    Uncertainties, st.floats(1e-4, 100.0), st.floats(1e-5, 100.0), st.floats(1e-5, 100.0)
)


def assert_clear(rail):
    """One rail's answer holds together, and every number in it can be printed."""
    assert rail.judgement in {"chosen", "none fits", "cannot be judged"}
    assert (rail.chosen is not None) == (rail.judgement == "chosen")
    assert (rail.tip_offset_mm is None) == (rail.tip_offset_u_mm is None)
    assert {fit.curve for fit in rail.fits} | set(rail.left_out) == set(CURVES)
    assert not {fit.curve for fit in rail.fits} & set(rail.left_out)
    assert all(0 <= index < len(rail.stops) for index in rail.suspect)
    assert rail.suspect == () or rail.judgement == "none fits"
    for fit in rail.fits:
        assert tuple(fit.parameters) == CURVES[fit.curve].parameter_names
        numbers = [
            *fit.parameters.values(), *fit.uncertainties.values(), *fit.residuals,
            fit.chi_square, fit.tip_opening_mm, fit.tip_opening_u_mm,
            fit.facing_length_mm, fit.facing_length_u_mm, *sum(fit.covariance, ()),
        ]  # fmt: skip
        assert all(math.isfinite(number) for number in numbers)
        assert fit.dof == len(fit.residuals) - len(fit.parameters)
        assert (fit.p is None) == (fit.dof == 0)
        CURVES[fit.curve].gap_at(fit.parameters, 0.0)  # a fitted curve reaches the tip
    if rail.chosen_fit is not None:
        assert rail.chosen_fit.p >= 0.05
        simpler = [f for f in rail.fits if len(f.parameters) < len(rail.chosen_fit.parameters)]
        assert all(fit.refused or fit.p is None for fit in simpler)


ALL_BUT_AT_ONE_PLACE = FacingReadings(
    tuple(BladeStop(gap, place) for gap, place in ((0.127, 0.0), (0.0381, 1.3e-201), (0.02, 0.0)))
)
# A blade as thick as a chest of drawers: what a curve of four numbers hangs on vanishes beside it.
FAR_TOO_THICK = FacingReadings(
    (), tuple(BladeStop(gap, place) for gap, place in ((0.6096, 0.0), (0.8636, 2.0), (723.0, 0.0)))
)


@settings(deadline=None, max_examples=120)
@given(facings, spreads, st.sampled_from(["judge", "in", "out"]))
@example(ALL_BUT_AT_ONE_PLACE, Uncertainties(), "out")
@example(FAR_TOO_THICK, Uncertainties(4.0, 1.0, 1.0), "judge")
def test_any_readings_get_a_clear_answer(facing, uncertainties, tip):
    analysis = analyse_facing(facing, uncertainties, tip=tip)
    assert (analysis.left is None) == (not facing.left)
    assert (analysis.right is None) == (not facing.right)
    for rail in (analysis.left, analysis.right, analysis.mean):
        if rail is not None:
            assert_clear(rail)
    for row in analysis.evenness:
        assert row.verdict in {"even", "uneven", "cannot tell"}
        assert row.height_difference_um is None or math.isfinite(row.height_difference_um)


@settings(deadline=None, max_examples=40)
@given(facings, facings)
def test_any_two_measurements_can_be_compared(before, after):
    for trusted in (True, False):
        compared = compare(take_facing(before), take_facing(after), trust_suspects=trusted)
        for change in compared.changes:
            assert math.isfinite(change.difference)
            assert change.expanded_uncertainty > 0.0
            assert change.changed == (change.en > 1.0)
        joint = compared.joint
        assert joint.p is None or 0.0 <= joint.p <= 1.0
        assert math.isfinite(joint.chi_square)
        assert tell_comparison(compared).words


@pytest.mark.parametrize(
    "stops",
    [
        pytest.param([(0.254, 12.0)] * 5, id="five times the same"),
        pytest.param([(0.0381, 10), (0.254, 10), (0.6096, 10), (0.8636, 10)], id="one place"),
        pytest.param([(0.254, 18.0), (0.254, 12.0), (0.254, 6.0)], id="one blade, three places"),
        pytest.param([(0.0381, 0.0), (0.254, 0.0), (0.6096, 0.0)], id="all at the tip"),
        pytest.param([(0.0381, 3), (0.254, 6), (0.6096, 12), (0.8636, 18)], id="backwards"),
        pytest.param([(1000.0, 1.0), (999.0, 2.0), (1e-5, 1000.0)], id="absurd"),
    ],
)
def test_hopeless_readings_choose_no_curve(stops):
    rail = analyse_facing(FacingReadings(tuple(BladeStop(*stop) for stop in stops))).left
    assert_clear(rail)
    assert rail.chosen is None


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"left": (BladeStop(math.nan, 18.0),)}, "left.0.gap_mm", "must be a number"),
        ({"left": (BladeStop(0.0, 18.0),)}, "left.0.gap_mm", "more than zero"),
        ({"left": (BladeStop(-0.254, 18.0),)}, "left.0.gap_mm", "more than zero"),
        ({"right": (BladeStop(0.254, -1.0),)}, "right.0.position_mm", "zero or more"),
        ({"right": (BladeStop(0.254, math.inf),)}, "right.0.position_mm", "must be a number"),
        ({"right": (BladeStop(0.254, 1e4),)}, "right.0.position_mm", "check the unit"),
        ({"right": (BladeStop(0.254, 9.0, 0.0),)}, "right.0.gap_u_mm", "more than zero"),
        ({"right": (BladeStop(0.254, 9.0, None, -1.0),)}, "right.0.position_u_mm", "more than"),
        ({"tip_opening_mm": 0.0}, "tip_opening_mm", "more than zero"),
        ({"tip_opening_mm": 1.0, "tip_u_mm": math.nan}, "tip_u_mm", "must be a number"),
    ],
)
def test_a_number_no_gauge_can_give_is_refused_in_words_by_its_field(change, field, words):
    with pytest.raises(MalformedReading, match=words) as caught:
        analyse_facing(FacingReadings(**change))
    assert caught.value.field == field


@pytest.mark.parametrize("name", ["position_mm", "gap_mm", "tip_mm"])
@pytest.mark.parametrize("value", [0.0, -0.1, math.nan, math.inf])
def test_an_uncertainty_must_be_more_than_zero(name, value):
    with pytest.raises(MalformedReading) as caught:
        analyse_facing(FacingReadings(), Uncertainties(**{name: value}))
    assert caught.value.field == name


def test_nothing_read_is_nothing_said():
    analysis = analyse_facing(FacingReadings(tip_opening_mm=1.0))
    assert (analysis.left, analysis.right, analysis.mean, analysis.evenness) == (
        None, None, None, (),
    )  # fmt: skip


def test_one_rail_only_leaves_the_other_and_the_mean_empty():
    stops = tuple(map(BladeStop, (0.0381, 0.254, 0.8636), (18.0, 12.0, 3.0)))
    analysis = analyse_facing(FacingReadings(right=stops))
    assert analysis.left is None
    assert analysis.mean is None
    assert analysis.right.judgement == "chosen"
