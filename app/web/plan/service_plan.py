"""The plan's part of the computation service: what to take off, where, and what to read after.

JSON in, JSON out, no state, like its neighbour `service`. Lengths in mm; 422 names the field.
"""

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response
from pydantic import Field

from app.core.facing.analysis import MalformedReading
from app.core.plan.facings import THINNEST_MM, PlainFacing, Target, find_shape, solve_facing
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import (
    ExpectedReadings,
    ExpectedStop,
    PlanLimits,
    PlanRequest,
    RemovalPlan,
    StationCut,
)
from app.web.facing.service import (
    FacingIn,
    Gap,
    Position,
    StopIn,
    UncertaintiesIn,
    pick,
    refuse_field,
)

router = APIRouter(prefix="/api")

Finite = Annotated[float, Field(allow_inf_nan=False)]


class TargetIn(FacingIn):
    """A target: by readings, or by a plain curve with its facing length and tip opening.

    `through` is a third point that a curve of more than two parameters passes.
    """

    curve: str | None = None
    facing_length_mm: Position | None = None
    shape: Finite | None = None
    through: StopIn | None = None

    def target(self, length_gap_mm: float) -> Target:
        """The target as core takes it; raises MalformedReading for half of one."""
        plain = (self.curve, self.facing_length_mm, self.shape, self.through)
        if self.left or self.right:
            if any(part is not None for part in plain):
                raise MalformedReading(
                    "target", "Give the target by readings or by a curve, not by both."
                )
            return self.value()
        if all(part is None for part in plain):
            raise MalformedReading(
                "target", "Give the target's readings, or its facing length and tip opening."
            )
        if self.facing_length_mm is None:
            raise MalformedReading("target.facing_length_mm", "Give the facing length.")
        if self.tip_opening_mm is None:
            raise MalformedReading("target.tip_opening_mm", "Give the tip opening.")
        facing = PlainFacing(
            self.facing_length_mm, self.tip_opening_mm, self.curve or "arc", length_gap_mm,
            self.shape,
        )  # fmt: skip
        if self.through is None:
            return facing
        solve_facing(facing)
        number = find_shape(facing, self.through.gap_mm, self.through.position_mm)
        return replace(facing, shape=number)


class PlanIn(UncertaintiesIn):
    """What `/api/plan` takes; the limits are optional and only lead to cautions."""

    now: FacingIn
    target: TargetIn
    length_gap_mm: Gap = THINNEST_MM
    table_end_mm: Finite = 40.0
    tilt_limit_mm_per_mm: Finite = 0.0
    tolerance_mm: Finite = 0.0
    position_tolerance_mm: Finite | None = None
    tip_tolerance_mm: Finite | None = None
    tip_slope_deg: Finite | None = None
    beak_slope_deg: Finite | None = None
    most_table_mm: Gap | None = None
    most_rail_mm: Gap | None = None
    window_end_mm: Position | None = None
    table_allowance_mm: Gap | None = None

    def request(self) -> PlanRequest:
        """What is asked as core takes it; raises MalformedReading."""
        return PlanRequest(
            now=self.now.value(),
            target=self.target.target(self.length_gap_mm),
            uncertainties=self.uncertainties(),
            limits=PlanLimits(
                self.most_table_mm, self.most_rail_mm, self.window_end_mm, self.table_allowance_mm
            ),
            **pick(self, _SAME),
        )


_SAME = """length_gap_mm table_end_mm tilt_limit_mm_per_mm tolerance_mm position_tolerance_mm
    tip_tolerance_mm tip_slope_deg beak_slope_deg"""


@router.post("/plan")
def plan(asked: PlanIn) -> Response:
    """Plan the least removal from one facing to another."""
    try:
        removal = plan_removal(asked.request())
    except MalformedReading as error:
        return refuse_field(error.field, str(error))
    return JSONResponse(_plan(removal))


def _plan(removal: RemovalPlan) -> dict[str, Any]:
    nearest = removal.nearest_without_table
    return {
        "rails_only": removal.rails_only,
        "table": _table(removal),
        "rails": {rail: [*map(_cut, getattr(removal, rail))] for rail in ("left", "right")},
        "after_table": _expected(removal.after_table),
        "after_rails": _expected(removal.after_rails),
        "target": _expected(removal.target),
        "target_positions": _stops(removal.target_positions),
        "nearest_without_table": {
            "tip_opening_mm": nearest.tip_opening_mm,
            "facing_length_mm": nearest.facing_length_mm,
            "readings": _expected(nearest.readings),
        },
        "tip_rail_wider_mm": removal.tip_rail_wider_mm,
        "shorter_mm": removal.shorter_mm,
        "now_curve": dict(removal.now_curve),
        "summary": removal.summary,
        "cautions": list(removal.cautions),
        "steps": [
            {
                "key": step.key,
                "words": step.words,
                "expect": None if step.expect is None else _expected(step.expect),
            }
            for step in removal.steps
        ],
    }


def _table(removal: RemovalPlan) -> dict[str, float]:
    table = removal.table
    return pick(table, "at_break_mm at_end_mm break_mm end_mm saved_mm") | {
        "at_least_mm": table.least.at(table.break_mm),
        "at_most_mm": table.most.at(table.break_mm),
        "exact_mm": table.exact.at(table.break_mm),
    }


def _cut(station: StationCut) -> dict[str, float]:
    names = "position_mm cut_mm now_mm after_table_mm target_mm final_mm"
    return pick(station, names) | {"cut_u_mm": station.u_mm}


def _stops(stops: tuple[ExpectedStop, ...]) -> list[dict[str, float | None]]:
    return [pick(stop, "gap_mm position_mm") for stop in stops]


def _expected(readings: ExpectedReadings) -> dict[str, Any]:
    return {
        "left": _stops(readings.left),
        "right": _stops(readings.right),
        "tip_opening_mm": readings.tip_opening_mm,
    }
