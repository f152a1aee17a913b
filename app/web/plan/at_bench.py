"""What a job's page shows while the piece is on the bench: numbers, what is left, the next pass."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.core.facing.measurements import GaugesInUse
from app.core.jobs.stages import STAGES
from app.core.plan.next_pass import (
    BenchAim,
    LeftRow,
    PassOffer,
    Verdict,
    judge_next,
    list_left_rows,
    needed_cuts,
    offer_passes,
    passes_since,
)
from app.core.plan.plan_tables import StepLine, list_steps
from app.core.plan.removal import RemovalKind, RemovalRate, learn_rate
from app.core.plan.targets import tell_target
from app.store.records.measurements import measurements_of_job
from app.store.records.removal import RECENT_JOBS, list_removal_pairs, list_used_passes, log_of_job
from app.store.tables import Job
from app.web.plan.planning import JobPlan, plan_job, tell_last, uncertainties_of


@dataclass(frozen=True, slots=True)
class BenchPanel:
    """The panel's values; `verdict` is None without a target or readings to hold against it."""

    planned: JobPlan
    target_line: str
    last_line: str
    verdict: Verdict | None
    rows: tuple[LeftRow, ...]
    step: StepLine | None
    offers: tuple[PassOffer, ...]


def gather_bench(session: Session, job: Job, gauges: GaugesInUse) -> BenchPanel | None:
    """Gather the panel of an open job that has a target or passes; None for any other."""
    if not STAGES[job.stage].open or not (job.facing_id or job.passes or measurements_of_job(job)):
        return None
    planned = plan_job(session, job)
    log = log_of_job(job, measurements_of_job(job))
    aim = _aim(session, job, planned)
    offers = offer_passes(log, list_used_passes(session), aim)
    since = passes_since(log)
    steps = list_steps(planned.plan, planned.showing) if planned.plan else ()
    return BenchPanel(
        planned=planned,
        target_line=tell_target(planned.facing.target, gauges) if planned.facing else "",
        last_line=tell_last(planned.last, gauges),
        verdict=judge_next(planned.state, planned.plan, offers, since) if planned.state else None,
        rows=list_left_rows(planned.state, gauges) if planned.state else (),
        step=steps[0] if steps else None,
        offers=offers,
    )


def _aim(session: Session, job: Job, planned: JobPlan) -> BenchAim | None:
    """Hold the offers against the plan, with the rates learnt of the kinds that may be offered."""
    if planned.plan is None or planned.state is None or planned.facing is None:
        return None
    cuts = {one.kind for one in job.passes if one.struck_at is None} | needed_cuts(planned.plan)
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
