"""What a job's page shows while the piece is worked on: the table, what is left, the next pass."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import GaugesInUse
from app.core.jobs.stages import STAGES
from app.core.plan.bench import judge_bench
from app.core.plan.bench_table import TableRow, ToGo, list_rows, list_togo
from app.core.plan.next_pass import PassOffer, Verdict, judge_next, offer_passes, passes_since
from app.core.plan.plan_tables import StepLine, list_steps, list_unread_words
from app.core.plan.shown import Showing
from app.core.values.readings import FacingReadings, Uncertainties
from app.store.records.facings import KeptFacing
from app.store.records.measurements import Measurement, measurements_of_job, standing
from app.store.records.removal import list_used_passes, log_of_job
from app.store.tables import Job
from app.web.compare.comparisons import find_departure
from app.web.plan.planning import JobPlan, aim_at_plan, find_loose_table, plan_job, tell_strokes


@dataclass(frozen=True, slots=True)
class BenchTable:
    """What stands beside the cells of a reading: what was read before, and what is wanted.

    `first` is how it was received, or how it was returned last where it was not read yet since;
    `first_label` says which. `last` is the job's last reading where that is another.
    """

    rows: tuple[TableRow, ...]
    first_label: str
    first: Measurement | None
    last: Measurement | None
    facing: KeptFacing | None
    togo: Mapping[str, ToGo]


@dataclass(frozen=True, slots=True)
class BenchPanel:
    """The panel's values; `verdict` is None without a target or readings to hold against it.

    `unread` says what of the rails was not read, and which blade would tell most.
    """

    planned: JobPlan
    verdict: Verdict | None
    step: StepLine | None
    offers: tuple[PassOffer, ...]
    unread: tuple[str, ...]


def gather_table(
    job: Job | None, facing: KeptFacing | None, of_piece: Sequence[Measurement], showing: Showing
) -> BenchTable:
    """Gather the table of a job's readings, or of readings outside any job, against a target."""
    read = [kept for kept in standing(of_piece) if kept.facing.left or kept.facing.right]
    own = [kept for kept in read if job and kept.job_number == job.number]
    received = next((kept for kept in own if kept.role == "as_received"), None)
    returned = (
        find_departure(job, of_piece)
        if job
        else next((kept for kept in reversed(read) if kept.role == "as_returned"), None)
    )
    first = received or returned
    last = own[-1] if own and own[-1] is not received else None
    if job is None:
        last = read[-1] if read and read[-1] is not first else None
    latest = last or received
    gauges = showing.gauges
    rows = list_rows(
        showing,
        first.recorded if first else None,
        last.recorded if last else None,
        facing.target if facing else None,
    )
    togo = tell_togo(facing, job, latest.facing, latest.uncertainties, gauges) if latest else {}
    label = "Received" if received else "Returned last"
    return BenchTable(rows, label, first, last, facing, togo)


def tell_togo(
    facing: KeptFacing | None,
    job: Job | None,
    now: FacingReadings,
    uncertainties: Uncertainties,
    gauges: GaugesInUse,
) -> Mapping[str, ToGo]:
    """Say what is still to go to a target, by cell; nothing where that can't be told.

    On a job's table that isn't firm it can't: where the blades stop is in doubt with the tip.
    """
    if facing is None or (job is not None and find_loose_table(job) is not None):
        return {}
    try:
        state = judge_bench(
            facing.target, now, facing.tolerance, uncertainties, gauges.glass.step_mm
        )
    except MalformedReading:
        return {}
    return list_togo(state, gauges)


def gather_bench(session: Session, job: Job) -> BenchPanel | None:
    """Gather the verdict and the next pass of an open job; None for one that went home."""
    if not STAGES[job.stage].open:
        return None
    planned = plan_job(session, job)
    log = log_of_job(job, measurements_of_job(job))
    aim = aim_at_plan(session, job, planned)
    offers = offer_passes(log, list_used_passes(session), aim)
    strokes = tell_strokes(session, job, aim)
    steps = list_steps(planned.plan, planned.showing, strokes) if planned.plan else ()
    unread: tuple[str, ...] = ()
    if planned.plan and planned.last:
        glass = planned.showing.gauges.glass
        unread = list_unread_words(planned.plan, planned.last.facing, glass)
    return BenchPanel(
        planned=planned,
        verdict=judge_next(
            planned.state, planned.plan, offers, passes_since(log), planned.loose_table
        )
        if planned.state
        else None,
        step=steps[0] if steps else None,
        offers=offers,
        unread=unread,
    )
