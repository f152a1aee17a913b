"""Each printed ± against a way of its own: change the number, and its test turns red.

What a plan's figures hang on is found by moving every reading a little and planning again: the
root of the sum of squares of what that does is their standard uncertainty (GUM 5.1.2), whatever
way the program itself took.
"""

import re
from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest

from app.core.compare.cards import build_measured_part
from app.core.compare.comparison import compare
from app.core.compare.differences import take_facing
from app.core.facing.analysis import analyse_facing
from app.core.facing.wording import say_height
from app.core.plan.facings import PlainFacing, solve_facing
from app.core.plan.plan import plan_removal
from app.core.plan.plan_tables import list_figures
from app.core.plan.plan_values import PlanRequest
from app.core.plan.rate_tables import list_rates
from app.core.plan.removal import RemovalKind, RemovalPair
from app.core.plan.shown import Showing
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.units import SCALES
from tests.core.jobs.test_batches import GAUGES
from tests.core.planning import BLADES_MM, read_arc

NOW = PlainFacing(17.4, 1.04)
U = Uncertainties()
MM = replace(GAUGES, glass=SCALES["length_mm"])


def numbers(text):
    """Read the numbers of a text, in order."""
    return [float(one.replace("−", "-")) for one in re.findall(r"[−-]?\d+(?:\.\d+)?", text)]


def moved(facing: FacingReadings):
    """Move each reading by one standard uncertainty, one after the other; a blade moves both."""
    for rail in ("left", "right"):
        stops = getattr(facing, rail)
        for n, stop in enumerate(stops):
            there = replace(stop, position_mm=stop.position_mm + U.position_mm)
            yield replace(facing, **{rail: (*stops[:n], there, *stops[n + 1 :])})
    yield replace(facing, tip_opening_mm=facing.tip_opening_mm + U.tip_mm)


def work_out_u(facing, figure):
    """Give the standard uncertainty of a figure of a facing by moving its readings.

    Of the blades' own thickness, which is common to both rails, the part is taken from the slope.
    """
    here = figure(facing)
    by_reading = hypot(*(figure(one) - here for one in moved(facing)))
    by_blade = []
    for gap in BLADES_MM:
        sides = {
            rail: tuple(
                replace(stop, gap_mm=stop.gap_mm + U.gap_mm) if stop.gap_mm == gap else stop
                for stop in getattr(facing, rail)
            )
            for rail in ("left", "right")
        }
        by_blade.append(figure(replace(facing, **sides)) - here)
    return hypot(by_reading, *by_blade)


def plan_of(facing, target):
    return plan_removal(PlanRequest(now=facing, target=target))


def test_the_height_of_uneven_rails_has_the_u_of_two_stops_times_the_slope():
    facing = solve_facing(NOW).parameters
    for row in analyse_facing(read_arc(NOW)).evenness:
        u = sqrt(2 * facing["radius_mm"] * row.gap_mm - row.gap_mm**2)
        slope = u / (facing["radius_mm"] - row.gap_mm)  # of an arc
        assert numbers(say_height(row))[1] == pytest.approx(
            2e3 * U.position_mm * sqrt(2) * slope, abs=1
        )


def test_the_cards_break_has_the_u_of_every_curve_that_fits():
    before, after = (
        take_facing(read_arc(one), U) for one in (PlainFacing(18.0, 1.05), PlainFacing(16.6, 1.05))
    )
    part = build_measured_part(before, after, MM, 0.5)
    row = next(one for one in part.figures if one.label == "Break point")
    compared = compare(before, after)
    rails = compared.before.mean, compared.after.mean
    by = [
        (
            rails[1].fit(fit.curve).parameters["break_mm"] - fit.parameters["break_mm"],
            hypot(fit.uncertainties["break_mm"], rails[1].fit(fit.curve).uncertainties["break_mm"]),
        )
        for fit in rails[0].fits
        if len(fit.parameters) <= 3 and rails[1].fit(fit.curve)
        if not fit.refused and not rails[1].fit(fit.curve).refused
    ]
    change, spread = numbers(row.change)
    assert change == pytest.approx(by[0][0], abs=0.06)
    assert spread == pytest.approx(max(abs(d - by[0][0]) + 2 * u for d, u in by), abs=0.06)


TARGETS = pytest.mark.parametrize("target", [PlainFacing(18.6, 1.20), PlainFacing(19.4, 1.06)])


def plan_and_u(now, target):
    """A plan, and the standard uncertainty of the deepest cut off its left rail."""
    plan = plan_of(now, target)
    deepest = max(plan.left, key=lambda one: one.cut_mm)

    def cut(facing):
        left = plan_of(facing, target).left
        return float(np.interp(deepest.position_mm, [one.position_mm for one in left],
                               [one.cut_mm for one in left]))  # fmt: skip

    return plan, work_out_u(now, cut)


@TARGETS
def test_off_a_rail_is_as_sure_as_the_readings_make_it(target):
    plan, u = plan_and_u(read_arc(NOW), target)
    figure = next(
        one for one in list_figures(plan, Showing(MM)) if one.label.startswith("Off a rail")
    )
    _, low, high = numbers(figure.note)
    assert high - low == pytest.approx(4 * u, rel=0.2, abs=0.01 if high > 0.0995 else 0.001)


@TARGETS
def test_a_plans_step_on_the_rails_is_as_sure_as_the_readings_make_it(target):
    plan, u = plan_and_u(read_arc(NOW), target)
    step = next(one for one in plan.steps if one.key == "rails")
    (doubt,) = numbers(step.words.partition("give or take")[2].partition(",")[0])
    assert doubt == pytest.approx(2 * u, rel=0.2, abs=0.005)


def test_off_the_table_at_most_is_as_sure_as_the_readings_make_it():
    now, target = read_arc(PlainFacing(18.4, 1.25)), PlainFacing(17.4, 1.04)
    plan = plan_of(now, target)
    u = work_out_u(now, lambda facing: plan_of(facing, target).table.at_break_mm)
    figure = next(one for one in list_figures(plan, Showing(MM)) if one.label == "Off the table")
    (least, most), planned = numbers(figure.note), numbers(figure.value)[0]
    assert most - planned == pytest.approx(2 * u, rel=0.5)
    assert planned - least == pytest.approx(2 * u, rel=0.5)


def test_a_removal_rate_has_the_u_of_a_line_through_the_origin():
    kind = RemovalKind("flat", "wet paper", "600", "hard_rubber")
    strokes, depths = np.array([20.0, 35.0, 50.0, 30.0]), np.array([0.021, 0.033, 0.055, 0.028])
    pairs = [RemovalPair(kind, n, d, "1") for n, d in zip(strokes, depths, strict=True)]
    (section,) = list_rates(pairs)
    slope = (strokes @ depths) / (strokes @ strokes)
    u = sqrt(((depths - slope * strokes) ** 2).sum() / 3 / (strokes @ strokes))
    assert numbers(section.figure)[0] == pytest.approx(1000 * slope, abs=0.006)
    assert numbers(section.uncertainty)[0] == pytest.approx(2000 * u, abs=0.006)
