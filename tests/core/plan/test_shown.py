"""What the shop's own gauges will show: worn blades turned back, and typed again as planned."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from app.core.facing.corrections import correct_readings
from app.core.facing.measurements import parse_set
from app.core.gauges.sizes import GaugeFacts, Register, SetSizes, SizeCheck
from app.core.plan.bench import judge_bench
from app.core.plan.facings import FacingTolerance, PlainFacing, solve_facing
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import PlanRequest
from app.core.plan.shown import Showing, write_shown, write_span
from tests.core.plan.test_targets import GAUGES, TODAY
from tests.core.planning import BLADES_MM, read_arc

WORN_MM = 0.0310
TARGET = PlainFacing(17.8, 1.12)


def make_showing(*facts: GaugeFacts, glass_id: int | None = None) -> Showing:
    register = Register([*facts])
    return Showing(replace(GAUGES, glass_id=glass_id), SetSizes(date.max, register, glass_id))


WORN = GaugeFacts(
    4, "blade", "thin", nominal_mm=BLADES_MM[0], checks=(SizeCheck(TODAY, None, WORN_MM, 0.001),)
)


def test_a_worn_blade_is_shown_where_the_circle_says_it_will_stop() -> None:
    """On a circle a blade t stops √(2Rt − t²) from where the facing starts."""
    at = solve_facing(TARGET).parameters
    by_formula = at["break_mm"] - np.sqrt(2 * at["radius_mm"] * WORN_MM - WORN_MM**2)
    fine = GaugeFacts(9, "glass", "fine", resolution_mm=0.001)
    shown = make_showing(WORN, fine, glass_id=9).show(read_arc(TARGET)).left[BLADES_MM[0]]
    assert shown is not None
    assert shown.mm == pytest.approx(by_formula, abs=0.02)
    # to the step of a usual glass it is the very number
    shown = make_showing(WORN).show(read_arc(TARGET)).left[BLADES_MM[0]]
    assert shown is not None
    assert shown.mm == round(by_formula * 4) / 4
    assert shown.mm > TARGET.facing_length_mm + 0.2


def test_a_glass_that_stands_off_is_turned_back_too() -> None:
    off = GaugeFacts(9, "glass", "glass", checks=(SizeCheck(TODAY, 10.0, 10.5, 0.01),))
    true, shown = (
        make_showing(*facts, glass_id=9).show(read_arc(TARGET)).left[BLADES_MM[2]]
        for facts in ((), (off,))
    )
    assert true is not None
    assert shown is not None
    assert shown.mm == pytest.approx(true.mm - 0.5)


@pytest.mark.parametrize("blades", [(), (WORN,)])
@pytest.mark.parametrize(
    "tolerance", [FacingTolerance(0.05, 0.005), FacingTolerance(0.5, 0.02, 0.02)]
)
def test_typing_exactly_what_should_be_read_comes_back_as_planned(blades, tolerance) -> None:
    rng = np.random.default_rng(12)
    showing = make_showing(*blades)
    for _ in range(25):
        target = PlainFacing(rng.uniform(16.5, 19.5), round(rng.uniform(1.0, 1.25), 2))
        now = read_arc(PlainFacing(target.facing_length_mm - 1, target.tip_opening_mm - 0.08))
        plan = plan_removal(PlanRequest(now, target))
        expected = showing.show(plan.after_rails)
        line = write_shown(expected, GAUGES)
        entry = parse_set({"line": line, "role": "at_the_bench"}, GAUGES, "other", TODAY)
        entry = getattr(entry, "entry", entry)
        read = correct_readings(entry.readings, showing.sizes)
        assert expected.agrees(read.recorded_facing)
        state = judge_bench(target, read.facing, tolerance, read.uncertainties, 0.25)
        assert state.stop, (line, [one for one in state.blades if one.state != "within"])


def test_the_span_is_what_a_careful_hand_may_read() -> None:
    shown = make_showing().show(read_arc(TARGET))
    stop = shown.left[BLADES_MM[0]]
    assert stop is not None
    # 17.8 mm, read to half numbers by a hand that repeats to 0.13 mm
    assert (stop.mm, stop.low_mm, stop.high_mm) == (17.75, 17.5, 18.0)
    assert write_span(shown, BLADES_MM[0], GAUGES.glass) == "35 to 36"
    assert write_span(shown, None, GAUGES.tip) == "1.10 to 1.14"
    assert stop.holds(17.5)
    assert not stop.holds(18.25)
