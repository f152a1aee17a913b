"""A clamped beam, free and on a lay, against closed forms.

Cantilever under a uniform load and an end force: slope and deflection as printed in an open
handbook of mechanics of materials (appendix of beam deflections). Stop at the end: by superposing
the two. End force on a parabolic former: a textbook problem, from memory. Tapered cantilever: the
integral P x²/EI. Uniform load on a parabolic former: derived (contact begins where the moment at
the clamp reaches EI/R; beyond it the gap is EI/(2R²w)), no publication found.
"""

import json

import numpy as np
import pytest
from scipy.integrate import quad

from app.core.compare.beams import clamp_beam, close_beam, settle
from tests.published.data_files import DATA

FORMS = json.loads((DATA / "beam_closed_forms.json").read_text(encoding="utf-8"))


def uniform(form, cells=50):
    return clamp_beam(form["length"], lambda x: form["EI"] + 0.0 * x, cells)


def press(beam, load):
    """Bend a beam freely by a load per length."""
    return beam.deflect(lambda x: load * (beam.nodes_mm[-1] - x) ** 2 / 2.0)


def pull(beam, force):
    """Bend a beam freely by a force at its free end."""
    return beam.deflect(lambda x: force * (beam.nodes_mm[-1] - x))


def test_a_cantilever_under_a_uniform_load_bends_along_its_whole_curve():
    form = FORMS["uniform_load_cantilever"]
    beam, w, length = uniform(form), form["load"], form["length"]
    bent, x = press(beam, w), beam.nodes_mm
    assert bent[-1] == pytest.approx(form["tip_deflection"], rel=1e-12)
    curve = w * x**2 * (x**2 - 4 * length * x + 6 * length**2) / (24 * form["EI"])
    np.testing.assert_allclose(bent, curve, rtol=1e-11)


def test_a_cantilever_under_an_end_force():
    form = FORMS["end_force_cantilever"]
    bent = pull(uniform(form), form["force"])
    assert bent[-1] == pytest.approx(form["tip_deflection"], rel=1e-12)


def test_a_tapered_cantilever_is_the_integral_of_its_flexibility():
    form = FORMS["tapered_cantilever_end_force"]
    length = form["length"]

    def stiffness(from_clamp):
        rise = (form["thickness_clamp"] - form["thickness_free_end"]) / length
        thickness = form["thickness_clamp"] - rise * from_clamp
        return form["E"] * form["width"] * thickness**3 / 12.0

    beam = clamp_beam(length, stiffness)
    assert pull(beam, form["force"])[-1] == pytest.approx(form["tip_deflection"], rel=1e-6)
    pressed, _ = quad(lambda x: x**3 / (2.0 * stiffness(length - x)), 0.0, length)
    assert press(beam, 1.0)[-1] == pytest.approx(pressed, rel=1e-5)


def test_a_stop_at_the_free_end_takes_its_share_of_the_load():
    form = FORMS["uniform_load_with_stop_at_the_end"]
    beam = uniform(form)
    lay = np.full(len(beam.nodes_mm), 1e3)
    lay[-1] = form["gap"]
    free = press(beam, form["load"])
    bent = settle(beam.factor(), free, lay)
    assert bent[-1] == pytest.approx(form["gap"], abs=1e-9)
    # the stop's force is what bends the beam back
    back = (free - bent) / pull(beam, 1.0)
    np.testing.assert_allclose(back, form["stop_force"], rtol=1e-6)


@pytest.mark.parametrize("case", FORMS["end_force_on_a_parabolic_former"]["cases"])
def test_an_end_force_winds_a_beam_onto_a_parabolic_former(case):
    form = FORMS["end_force_on_a_parabolic_former"]
    beam = uniform(form, 200)
    lay = beam.nodes_mm**2 / (2 * form["R"])
    bent = settle(beam.factor(), pull(beam, case["end_force_N"]), lay)
    assert bent[-1] == pytest.approx(case["tip_deflection_mm"], rel=1e-5)
    last = beam.nodes_mm[lay - bent < 1e-9][-1]
    assert form["length"] - last == pytest.approx(case["free_length_mm"], abs=0.3)


# computed by an independent obstacle solver (300 cells) and the closed form: R 145, L 17, EI 812.5
W0 = 0.0387782
GAPS = [(0.5, 0.747413793), (1, 0.498275862), (2, 0.249137931), (4, 0.124568966), (8, 0.062284483)]


@pytest.mark.parametrize(("times", "gap"), GAPS)
def test_the_gap_of_a_uniform_beam_on_an_arc_halves_as_the_load_doubles(times, gap):
    beam = clamp_beam(17.0, lambda x: 812.5 + 0.0 * x, 200)
    lay = beam.nodes_mm**2 / 290.0
    bent = settle(beam.factor(), press(beam, times * W0), lay)
    assert lay[-1] - bent[-1] == pytest.approx(gap, abs=1e-5)


def test_a_uniform_beam_on_an_arc_never_closes():
    beam = clamp_beam(17.0, lambda x: 812.5 + 0.0 * x)
    lay = beam.nodes_mm**2 / 290.0
    assert close_beam(beam, lay, 0.0) == float("inf")
    # gap = EI/(2R²w): a tenth of the opening is left at five times the load of first contact
    assert close_beam(beam, lay, 0.1) == pytest.approx(5 * W0, rel=1e-3)


def test_a_beam_as_stiff_as_the_square_of_the_distance_from_its_end_closes_all_at_once():
    """EI = kξ²: uniform curvature, so the gap falls evenly; a tenth is left at 0.9·2k/R."""
    beam = clamp_beam(17.0, lambda x: 30.0 * (17.0 - x) ** 2)
    assert close_beam(beam, beam.nodes_mm**2 / 290.0, 0.1) == pytest.approx(0.9 * 60 / 145.0)
