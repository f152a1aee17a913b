"""What the planning pages gather: gauges and uncertainties in use, and a job's plan."""

from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session

from app.core.compare.table_profiles import FLATTEN_FIRST, TableProfile, say_doubt, say_table
from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import GaugesInUse
from app.core.facing.suspects import leave_out
from app.core.plan.bench import BenchState, judge_bench
from app.core.plan.effort_map import EffortQuestion
from app.core.plan.facings import THINNEST_MM, FacingTolerance, PlainFacing, Target, common_gaps
from app.core.plan.next_pass import FLAT_CUTS, BenchAim, needed_cuts, plan_strokes, say_strokes
from app.core.plan.piece_limits import PieceLimits, find_table_end
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import DONE, PlanLimits, PlanRequest, RemovalPlan
from app.core.plan.removal import RemovalKind, RemovalRate, learn_rate
from app.core.plan.shown import Showing
from app.core.values.forms import format_date
from app.core.values.pieces import name_piece
from app.core.values.readings import Uncertainties
from app.core.values.units import SCALES
from app.store.records.facings import KeptFacing, get_facing
from app.store.records.gauges import sizes_in_use
from app.store.records.measurements import Measurement, measurements_of_job, standing
from app.store.records.removal import RECENT_JOBS, as_logged, list_removal_pairs, list_used_passes
from app.store.records.shop import gauges_in_use, get_shop, list_blade_sets
from app.store.tables import Job, Piece, Shop


def uncertainties_of(measurement: Measurement | None) -> Uncertainties:
    """The standard uncertainties a plan reckons with: those of the gauges it was read with.

    Readings bring their own where the gauges' register tells them; without readings, as for a
    picture of a target, those of the service stand in.
    """
    return measurement.uncertainties if measurement else Uncertainties()


def gauges_for(session: Session, kind: str) -> GaugesInUse:
    """The gauges with which a piece for this kind of instrument is read."""
    return gauges_in_use(session, instrument_kind=kind)


def gauges_of(session: Session, job: Job, last: Measurement | None) -> GaugesInUse:
    """The gauges a job's last readings were taken with, else those of its instrument."""
    set_id = last.blade_set_id if last else None
    return gauges_in_use(session, set_id, instrument_kind=job.piece.instrument_kind)


def choose_gauges(
    session: Session, blade_set: str, glass: str, kind: str = "", line: str = ""
) -> GaugesInUse:
    """The gauges to write a target for: any blade set and any glass, else the shop's own.

    A typed `line` with another number of stops chooses its set, as where readings are taken.
    """
    known = {str(kept.id): kept.id for kept in list_blade_sets(session)}
    gauges = gauges_in_use(session, known.get(blade_set), instrument_kind=kind, line=line)
    scale = SCALES.get(glass)
    return replace(gauges, glass=scale) if scale and scale.measures == "glass" else gauges


AS_PLANNED = {
    "table": "As planned: the table’s part is done.",
    "rails": "As planned: the rails’ part is done.",
    "check": "As planned.",
}


@dataclass(frozen=True, slots=True)
class JobPlan:
    """A job's target, its last readings, and what follows from both.

    Without target or readings there is no plan and no state; `refusal` says in words why a
    plan could not be made from readings that are there, `loose_table` is one it can't go by.
    """

    facing: KeptFacing | None
    last: Measurement | None
    request: PlanRequest | None
    plan: RemovalPlan | None
    state: BenchState | None
    refusal: str
    showing: Showing
    loose_table: TableProfile | None = None


def last_read(job: Job) -> Measurement | None:
    """A loaded job's last standing readings that tell of a rail."""
    read = [
        kept for kept in standing(measurements_of_job(job)) if kept.facing.left or kept.facing.right
    ]
    return read[-1] if read else None


def find_showing(session: Session, gauges: GaugesInUse) -> Showing:
    """Gauges with what their last checks say of their sizes."""
    return Showing(gauges, sizes_in_use(session, gauges, date.max))


def limits_of(piece: Piece) -> PieceLimits:
    """What the book knows of a piece that a plan must heed."""
    return PieceLimits(
        piece.window_end_mm,
        piece.table_length_mm,
        piece.table_allowance_mm,
        piece.tip_slope_deg,
        piece.beak_slope_deg,
    )


def usual_tolerance(shop: Shop) -> FacingTolerance:
    """The tolerance of a target that has none of its own."""
    return FacingTolerance(shop.position_tolerance_mm, shop.tip_tolerance_mm, shop.gap_tolerance_mm)


def name_copy(piece: Piece | None, source: Measurement) -> str:
    """Name a target that copies what another piece read."""
    name = "another piece"
    if piece:
        name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    return f"Same as {name}, {format_date(source.taken_on)}"


def plan_job(session: Session, job: Job) -> JobPlan:
    """Plan a job from its last readings to its target; never fails, but says why it can't."""
    facing, last = get_facing(session, job.facing_id), last_read(job)
    showing = find_showing(session, gauges_of(session, job, last))
    if facing is None or last is None:
        return JobPlan(facing, last, None, None, None, "", showing)
    request = plan = state = None
    refusal = ""
    try:
        state = judge_bench(
            facing.target,
            last.facing,
            facing.tolerance,
            last.uncertainties,
            showing.gauges.glass.step_mm,
        )
        request = make_request(
            facing.target, facing.tolerance, last, job.piece, get_shop(session), settled=state.stop
        )
        plan = plan_removal(request)
    except MalformedReading as error:
        refusal = str(error)
    if (loose := find_loose_table(job)) is not None:
        request, plan, refusal = None, None, refuse_loose_table(loose, last)
    return JobPlan(facing, last, request, plan, state, refusal, showing, loose)


def refuse_loose_table(table: TableProfile, last: Measurement) -> str:
    """Why nothing is planned on a table that isn't firm."""
    return " ".join([say_table(table), *say_doubt(table, last.facing), FLATTEN_FIRST])


def find_loose_table(job: Job) -> TableProfile | None:
    """The table of a job's piece, as it was read last, if it isn't firm and was not cut since."""
    read = [(kept, table) for kept in standing(measurements_of_job(job)) if (table := kept.table)]
    if not read or read[-1][1].is_firm:
        return None
    last, table = read[-1]
    since = (last.taken_on, last.kept_at)
    was_cut = any(
        cut.kind in FLAT_CUTS and cut.struck_at is None and (cut.done_on, cut.created_at) > since
        for cut in job.passes
    )
    return None if was_cut else table


def tell_as_planned(session: Session, job: Job, planned: JobPlan) -> str:
    """Say whether the last readings are what the plan from those before them led to expect."""
    sets = [kept for kept in standing(measurements_of_job(job)) if kept.facing.has_rails]
    if planned.facing is None or len(sets) < 2:
        return ""
    before, last = sets[-2:]
    read = leave_out(last.recorded, last.suspects)
    try:
        plan = plan_removal(
            make_request(
                planned.facing.target,
                planned.facing.tolerance,
                before,
                job.piece,
                get_shop(session),
            )
        )
    except MalformedReading:
        return ""
    if plan.comes_to == DONE:
        return ""
    for step in reversed(plan.steps):
        if step.expect and planned.showing.show(step.expect).agrees(read):
            return AS_PLANNED[step.key]
    return ""


def aim_at_plan(session: Session, job: Job, planned: JobPlan) -> BenchAim | None:
    """Hold passes against a plan, with the rates learnt of the kinds that may be offered."""
    if planned.plan is None or planned.state is None or planned.facing is None:
        return None
    cuts = {cut.kind for cut in job.passes if cut.struck_at is None} | needed_cuts(planned.plan)
    pairs = list_removal_pairs(
        session,
        uncertainties_of(planned.last),
        cuts=sorted(cuts),
        material=job.piece.material,
        most_jobs=RECENT_JOBS,
    )

    def learn(kind: RemovalKind) -> RemovalRate:
        return learn_rate(kind, pairs)

    return BenchAim(
        planned.plan, planned.state, planned.facing.tolerance, job.piece.material, learn
    )


def tell_strokes(session: Session, job: Job, aim: BenchAim | None) -> str:
    """Say with which strokes to begin, by what this shop's passes took; empty without a plan."""
    if aim is None:
        return ""
    own = [as_logged(cut) for cut in reversed(job.passes) if cut.struck_at is None]
    return say_strokes(plan_strokes(aim, [*own, *list_used_passes(session)]))


def ask_effort(session: Session, job: Job) -> EffortQuestion | None:
    """Ask what closes a reed as the job's piece does now; None before it was read."""
    last, facing = last_read(job), get_facing(session, job.facing_id)
    if last is None:
        return None
    target = facing.target if facing else None
    gap = min(common_gaps(last.trusted), default=THINNEST_MM)
    if isinstance(target, PlainFacing):
        gap = target.length_gap_mm
    return EffortQuestion(
        last.trusted,
        target,
        job.piece.instrument_kind,
        last.uncertainties,
        (facing.tolerance.gap_mm or 0.0) if facing else 0.0,
        gap,
    )


def make_request(
    target: Target,
    tolerance: FacingTolerance,
    last: Measurement,
    piece: Piece,
    shop: Shop,
    *,
    settled: bool = False,
) -> PlanRequest:
    """Ask for a plan the way the pages do: within a tolerance and with all known limits."""
    now, limits = last.trusted, limits_of(piece)
    stops = [*now.left, *now.right]
    if isinstance(target, PlainFacing):
        length_gap, furthest = target.length_gap_mm, [target.facing_length_mm]
    else:
        length_gap = min(common_gaps(target), default=THINNEST_MM)
        furthest = [stop.position_mm for stop in (*target.left, *target.right)]
    return PlanRequest(
        now=now,
        target=target,
        length_gap_mm=length_gap,
        table_end_mm=find_table_end(limits, max([stop.position_mm for stop in stops] + furthest)),
        tilt_limit_mm_per_mm=shop.tilt_limit_mm_per_mm,
        tolerance_mm=tolerance.gap_mm or 0.0,
        position_tolerance_mm=tolerance.position_mm,
        tip_tolerance_mm=tolerance.tip_mm,
        tip_slope_deg=limits.tip_slope_deg,
        beak_slope_deg=limits.beak_slope_deg,
        uncertainties=last.uncertainties,
        spare_untold=True,
        settled=settled,
        limits=PlanLimits(
            shop.most_table_mm, shop.most_rail_mm, limits.window_end_mm, limits.table_allowance_mm
        ),
    )
