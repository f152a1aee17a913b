"""Every curve: its formula, its inverse, and what it refuses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.core.facing.curves import CURVES, find_curve
from tests.core.facing.simulated import position_of, reach_of

USUAL = {
    "arc": {"break_mm": 22.2, "radius_mm": 214.0},
    "parabola": {"break_mm": 22.2, "coefficient_per_mm": 0.00234},
    "ellipse": {"break_mm": 24.0, "half_length_mm": 40.0, "half_height_mm": 9.0},
    "straight_tip": {"break_mm": 22.0, "radius_mm": 140.0, "straight_from_mm": 8.0},
    "easing": {"break_mm": 22.0, "curvature_per_mm": 1 / 160, "curvature_rate_per_mm2": 1e-4},
    "two_arcs": {"break_mm": 22.0, "radius_mm": 140.0, "tip_radius_mm": 60.0, "join_mm": 12.0},
}  # fmt: skip
EVERY_CURVE = pytest.mark.parametrize("key", list(CURVES))


def some_parameters(key):
    """Draw parameters of facings short and long, close and open, and well beyond the usual."""
    b = st.floats(8.0, 40.0)
    radius = st.floats(60.0, 900.0)
    return {
        "arc": st.fixed_dictionaries({"break_mm": b, "radius_mm": radius}),
        "parabola": st.fixed_dictionaries(
            {"break_mm": b, "coefficient_per_mm": st.floats(5e-4, 1e-2)}
        ),
        "ellipse": st.fixed_dictionaries(
            {
                "break_mm": b,
                "half_length_mm": st.floats(41.0, 500.0),
                "half_height_mm": st.floats(1.0, 500.0),
            }
        ),
        "straight_tip": st.tuples(b, radius, st.floats(0.0, 0.95)).map(
            lambda x: {"break_mm": x[0], "radius_mm": x[1], "straight_from_mm": x[0] * x[2]}
        ),
        "easing": st.tuples(b, radius, st.floats(-0.49, 3.0)).map(
            lambda x: {
                "break_mm": x[0],
                "curvature_per_mm": 1 / x[1],
                "curvature_rate_per_mm2": 2 * x[2] / (x[1] * x[0]),
            }
        ),
        "two_arcs": st.tuples(b, radius, st.floats(60.0, 2000.0), st.floats(0.0, 0.95)).map(
            lambda x: {
                "break_mm": x[0], "radius_mm": x[1], "tip_radius_mm": x[2], "join_mm": x[0] * x[3],
            }
        ),
    }[key]  # fmt: skip


def test_the_table_holds_the_six_curves_simple_ones_first():
    assert list(CURVES) == [
        "arc", "parabola", "ellipse", "straight_tip", "easing", "two_arcs",
    ]  # fmt: skip
    for key, curve in CURVES.items():
        assert curve.key == key
        assert curve.label
        assert curve.parameter_names[0] == "break_mm"
        assert set(curve.parameter_names) == set(USUAL[key])


@EVERY_CURVE
@settings(deadline=None)  # the machine may be busy
@given(data=st.data())
def test_every_curve_inverts_itself(key, data):
    curve, parameters = CURVES[key], data.draw(some_parameters(key))
    u = parameters["break_mm"] * np.array([1e-6, 1e-4, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
    s = parameters["break_mm"] - u
    gap = curve.gap_at(parameters, s)
    assert (np.diff(gap) > 0).all()
    assert position_of(curve, parameters, gap) == pytest.approx(s, abs=1e-9)


@EVERY_CURVE
def test_the_gap_is_nothing_at_the_break_and_beyond(key):
    parameters = USUAL[key]
    beyond = parameters["break_mm"] + np.array([0.0, 1e-9, 5.0])
    assert (CURVES[key].gap_at(parameters, beyond) == 0.0).all()


@EVERY_CURVE
def test_the_slope_is_that_of_the_curve(key):
    curve, parameters = CURVES[key], USUAL[key]
    gap = np.array([0.0381, 0.254, 0.8636])
    s, reaches = position_of(curve, parameters, gap), reach_of(curve, parameters, gap)[1]
    step = 1e-5
    by_hand = (curve.gap_at(parameters, s - step) - curve.gap_at(parameters, s + step)) / (2 * step)
    assert [1 / ds_dh for _, ds_dh, _ in reaches] == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize(
    ("key", "formula"),
    [
        ("arc", lambda u: 214 - np.sqrt(214**2 - u**2)),
        ("parabola", lambda u: 0.00234 * u**2),
        ("ellipse", lambda u: 9 * (1 - np.sqrt(1 - (u / 40) ** 2))),
        ("easing", lambda u: u**2 / 320 + u**3 * 1e-4 / 6),
    ],
)
def test_the_gap_is_what_the_formula_says(key, formula):
    b = USUAL[key]["break_mm"]
    u = np.linspace(0.5, b, 40)
    assert CURVES[key].gap_at(USUAL[key], b - u) == pytest.approx(formula(u), rel=1e-11)


@pytest.mark.parametrize(("key", "join"), [("straight_tip", 8.0), ("two_arcs", 12.0)])
def test_the_parts_of_a_joined_curve_meet_with_one_tangent(key, join):
    curve, parameters = CURVES[key], USUAL[key]
    near = join + np.array([-2e-6, -1e-6, 1e-6, 2e-6])
    gap = curve.gap_at(parameters, near)
    arc = CURVES["arc"].gap_at({"break_mm": 22.0, "radius_mm": 140.0}, near)
    assert gap == pytest.approx(arc, abs=1e-12)
    below = curve.gap_at(parameters, [join - 6.0, join - 4.0, join - 2.0])
    bend = below[0] - 2 * below[1] + below[2]
    assert (abs(bend) < 1e-12) if key == "straight_tip" else (bend > 0)


def test_a_very_flat_second_arc_is_a_straight_tip():
    flat = dict(USUAL["two_arcs"], tip_radius_mm=1e12)
    straight = {"break_mm": 22.0, "radius_mm": 140.0, "straight_from_mm": 12.0}
    s = np.linspace(0, 22, 12)
    assert CURVES["two_arcs"].gap_at(flat, s) == pytest.approx(
        CURVES["straight_tip"].gap_at(straight, s), abs=1e-9
    )


def test_near_the_break_nothing_is_lost_to_rounding():
    """R − √(R² − u²) in doubles is zero at u = 1 nm; the quotient keeps every digit."""
    u = np.array([1e-9, 1e-6, 1e-3])
    parameters = {"break_mm": 0.002, "radius_mm": 200.0}
    s = 0.002 - u
    exact = u * u / 400.0  # the next term is smaller by (u/2R)²
    assert CURVES["arc"].gap_at(parameters, s) == pytest.approx(exact, rel=1e-6)
    far = {"break_mm": 20.0, "radius_mm": 200.0}
    thin = np.array([1e-14, 1e-9])
    assert 20.0 - position_of(CURVES["arc"], far, thin) == pytest.approx(
        np.sqrt(400.0 * thin), rel=1e-6
    )


@pytest.mark.parametrize(
    ("key", "parameters", "words"),
    [
        ("arc", {"break_mm": 20.0}, "needs “radius_mm”"),
        ("arc", {"break_mm": 20.0, "radius_mm": float("nan")}, "finite"),
        ("arc", {"break_mm": 20.0, "radius_mm": -3.0}, "No circular arc"),
        ("arc", {"break_mm": -1.0, "radius_mm": 100.0}, "No circular arc"),
        ("ellipse", {"break_mm": 20.0, "half_length_mm": 30.0, "half_height_mm": 0.0}, "No ell"),
        ("easing", {"break_mm": 20.0, "curvature_per_mm": 0.0, "curvature_rate_per_mm2": 1e-4},
         "No curvature"),
        ("straight_tip", {"break_mm": 20.0, "radius_mm": 100.0, "straight_from_mm": 25.0},
         "No arc"),
        ("straight_tip", {"break_mm": 20.0, "radius_mm": 100.0, "straight_from_mm": -2.0},
         "No arc"),
        ("two_arcs", {"break_mm": 20.0, "radius_mm": 100.0, "tip_radius_mm": -50.0,
                      "join_mm": 5.0}, "No two arcs"),
    ],
)  # fmt: skip
def test_impossible_parameters_are_refused_in_words(key, parameters, words):
    with pytest.raises(ValueError, match=words):
        CURVES[key].gap_at(parameters, 1.0)


def test_a_curve_says_where_it_ends():
    short = {"break_mm": 20.0, "radius_mm": 15.0}
    with pytest.raises(ValueError, match="ends before"):
        CURVES["arc"].gap_at(short, 1.0)
    _, ((_, ds_dh, _),) = reach_of(CURVES["arc"], short, 16.0)
    assert ds_dh < 0.0, "past the radius it turns back"
    with pytest.raises(ValueError, match="math domain"):
        reach_of(CURVES["arc"], short, 31.0)


def test_an_unknown_curve_is_refused_with_those_there_are():
    with pytest.raises(ValueError, match="Choose from arc, parabola"):
        find_curve("spiral")
