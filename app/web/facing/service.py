"""The computation service: JSON in, JSON out, no state. Lengths in mm; 422 names the field."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from app.core.compare.beams import REEDS
from app.core.compare.bore import BorePoint, fit_bore
from app.core.compare.comparison import compare
from app.core.compare.differences import ReadSet, take_facing
from app.core.compare.effort import compare_efforts
from app.core.compare.effort_words import judge_effort, say_effort
from app.core.facing.analysis import (
    MalformedReading,
    analyse_facing,
)
from app.core.facing.curves import CURVES
from app.core.facing.fits import RailAnalysis
from app.core.values.readings import BladeStop, DialReading, FacingReadings, Uncertainties

router = APIRouter(prefix="/api")

Gap = Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)]
Position = Annotated[float, Field(ge=0, le=200, allow_inf_nan=False)]
StandardU = Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)]
CurveKey = Annotated[str, Field(max_length=40, pattern=r"^[ -~]*$")]  # printable ASCII
MOST_READINGS = 60


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid")


class StopIn(_Asked):
    """A blade's stop, in mm."""

    gap_mm: Gap
    position_mm: Position


class DialIn(_Asked):
    """The gap a dial shows at a position, in mm."""

    position_mm: Position
    gap_mm: Annotated[float, Field(ge=-1, le=50, allow_inf_nan=False)]


Stops = Annotated[list[StopIn], Field(max_length=MOST_READINGS)]


class FacingIn(_Asked):
    """One measurement."""

    left: Stops = []
    right: Stops = []
    tip_opening_mm: Gap | None = None
    dial_left: Annotated[list[DialIn], Field(max_length=MOST_READINGS)] = []
    dial_right: Annotated[list[DialIn], Field(max_length=MOST_READINGS)] = []

    def value(self) -> FacingReadings:
        """The measurement as core takes it."""
        left, right = (
            tuple(BladeStop(stop.gap_mm, stop.position_mm) for stop in rail)
            for rail in (self.left, self.right)
        )
        dial_left, dial_right = (
            tuple(DialReading(dial.position_mm, dial.gap_mm) for dial in rail)
            for rail in (self.dial_left, self.dial_right)
        )
        return FacingReadings(left, right, self.tip_opening_mm, None, dial_left, dial_right)


class UncertaintiesIn(_Asked):
    """Standard uncertainties, in mm."""

    position_u_mm: StandardU = 0.15
    gap_u_mm: StandardU = 0.003
    tip_u_mm: StandardU = 0.01
    dial_gap_u_mm: StandardU = 0.005
    dial_position_u_mm: StandardU = 0.05

    def uncertainties(self) -> Uncertainties:
        """The readings as core takes them."""
        return Uncertainties(
            self.position_u_mm,
            self.gap_u_mm,
            self.tip_u_mm,
            self.dial_gap_u_mm,
            self.dial_position_u_mm,
        )


class AnalysisIn(FacingIn, UncertaintiesIn):
    """What `/api/analysis` takes."""

    tip: Literal["judge", "in", "out"] = "judge"
    curves: Annotated[list[CurveKey], Field(max_length=20)] | None = None
    evenness_tolerance_mm: StandardU = 0.5


class ComparisonIn(UncertaintiesIn):
    """What `/api/comparison` takes."""

    before: FacingIn
    after: FacingIn
    same_blades: bool = True
    laying_u_mm: Annotated[float, Field(ge=0, le=50, allow_inf_nan=False)] = 0.0

    def sides(self) -> tuple[ReadSet, ReadSet]:
        """Before and after as core takes them."""
        blades = ("the same", "the same") if self.same_blades else ("before", "after")
        uncertainties = self.uncertainties()
        before, after = (
            take_facing(side.value(), uncertainties, blades=which, laying_u_mm=self.laying_u_mm)
            for side, which in zip((self.before, self.after), blades, strict=True)
        )
        return before, after


class EffortIn(ComparisonIn):
    """What `/api/effort` takes; `family` is a kind of instrument, for its reeds."""

    family: str = "other"


class BorePointIn(_Asked):
    """A diameter at a depth from the exit, in mm."""

    depth_mm: Position
    diameter_mm: Gap


class BoreIn(_Asked):
    """What `/api/bore` takes."""

    points: Annotated[list[BorePointIn], Field(min_length=1, max_length=MOST_READINGS)]


def refuse_field(field: str, words: str) -> Response:
    """Answer 422 in the one form all refusals have."""
    return JSONResponse({"detail": [{"field": field, "words": words}]}, status_code=422)


def pick(value: object, names: str) -> dict[str, Any]:
    """Some fields of a value by their names, for JSON: a mapping as a plain one."""
    picked = {name: getattr(value, name) for name in names.split()}
    return {
        name: dict(part) if isinstance(part, Mapping) else part for name, part in picked.items()
    }


@router.post("/analysis")
def analysis(asked: AnalysisIn) -> Response:
    """Fit, choose and compare what one measurement allows."""
    for key in asked.curves or []:
        if key not in CURVES:
            return refuse_field("curves", f"There is no curve “{key[:40]}”.")
    try:
        judged = analyse_facing(
            asked.value(),
            asked.uncertainties(),
            tip=asked.tip,
            curves=asked.curves,
            evenness_tolerance_mm=asked.evenness_tolerance_mm,
        )
    except MalformedReading as error:
        return refuse_field(error.field, str(error))
    return JSONResponse(
        {
            "rails": {"left": _rail(judged.left), "right": _rail(judged.right)},
            "mean": _rail(judged.mean),
            "evenness": [pick(row, _EVENNESS) for row in judged.evenness],
        }
    )


def _rail(rail: RailAnalysis | None) -> dict[str, Any] | None:
    if rail is None:
        return None
    own = pick(rail, _RAIL)
    return own | {"fits": [pick(fit, _FIT) for fit in rail.fits], "left_out": dict(rail.left_out)}


_RAIL = """judgement chosen tip_in_fit tip_offset_mm tip_offset_u_mm suspect break_span_mm
    tip_stands"""
_FIT = """curve parameters uncertainties chi_square dof p residuals tip_opening_mm tip_opening_u_mm
    facing_length_mm facing_length_u_mm"""
_EVENNESS = "gap_mm position_difference_mm height_difference_um u_um verdict"
_CHANGE = """quantity gap_mm rail before after difference expanded_uncertainty en changed
    told_changed"""
_JOINT = "chi_square dof p changed shift_mm shift_u_mm"
_BORE = "taper_per_mm included_angle_deg exit_diameter_mm uncertainties residuals_mm"


@router.post("/comparison")
def comparison(asked: ComparisonIn) -> Response:
    """Compare two measurements."""
    try:
        compared = compare(*asked.sides(), trust_suspects=True)
    except MalformedReading as error:
        return refuse_field(error.field, str(error))
    changes = [pick(change, _CHANGE) for change in compared.changes]
    return JSONResponse({"changes": changes, "joint": pick(compared.joint, _JOINT)})


@router.post("/effort")
def effort(asked: EffortIn) -> Response:
    """Tell how hard the same reed closes on one lay beside another."""
    if asked.family not in REEDS:
        return refuse_field("family", f"There is no family “{asked.family[:40]}” of reeds.")
    try:
        effort_ratio = compare_efforts(*asked.sides(), asked.family)
    except MalformedReading as error:
        return refuse_field(error.field, str(error))
    return JSONResponse(
        pick(effort_ratio, "ratio low high")
        | {
            "reeds": [{"shape": shape, "ratio": ratio} for shape, ratio in effort_ratio.reeds],
            "verdict": judge_effort(effort_ratio),
            "words": say_effort(effort_ratio),
        }
    )


@router.post("/bore")
def bore(asked: BoreIn) -> Response:
    """Fit a straight taper to a bore."""
    try:
        taper = fit_bore([BorePoint(point.depth_mm, point.diameter_mm) for point in asked.points])
    except ValueError as error:
        return refuse_field("points", str(error))
    return JSONResponse(pick(taper, _BORE))
