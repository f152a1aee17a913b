"""Passes and readings in the order they were done, for what each pass took."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.plan.bench import LoggedPass, bracket_passes
from app.core.plan.removal import RemovalPair
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.works import CUT_BACK
from app.store.records.measurements import Measurement, measurements_of_jobs, standing
from app.store.tables import BenchPass, Job, Piece, Work

# the rate follows the shop's hand and paper as they are now, not as they were years ago
RECENT_JOBS = 60
MOST_JOBS = 400


def log_of_job(job: Job, sets: Sequence[Measurement]) -> list[FacingReadings | LoggedPass]:
    """A job's standing readings and passes, loaded, in the order they were done.

    `sets` are all of its reading sets. A correction stands where what it replaces stood.
    """
    by_id = {measurement.id: measurement for measurement in sets}
    entries: list[tuple[date, datetime, FacingReadings | LoggedPass]] = []
    for kept in standing(sets):
        facing = kept.facing
        if not (facing.left or facing.right or facing.tip_opening_mm is not None):
            continue
        first = kept
        while first.replaces_id is not None and first.replaces_id in by_id:
            first = by_id[first.replaces_id]
        entries.append((first.taken_on, first.kept_at, facing))
    entries += [
        (bench_pass.done_on, bench_pass.created_at, as_logged(bench_pass))
        for bench_pass in job.passes
        if bench_pass.struck_at is None
    ]
    return [entry for _, _, entry in sorted(entries, key=lambda entry: entry[:2])]


def as_logged(kept: BenchPass) -> LoggedPass:
    """A kept pass as the bench's log has it."""
    strokes = None if kept.strokes is None else float(kept.strokes)
    return LoggedPass(kept.kind, kept.abrasive, kept.grit, strokes)


def list_used_passes(session: Session, most: int = 60) -> list[LoggedPass]:
    """List the shop's last passes, newest first."""
    standing_ones = select(BenchPass).where(BenchPass.struck_at.is_(None))
    used = session.scalars(standing_ones.order_by(BenchPass.id.desc()).limit(most))
    return [as_logged(bench_pass) for bench_pass in used]


_SHORTENED = select(Work.job_id).where(Work.kind == CUT_BACK, Work.struck_at.is_(None))


def list_removal_pairs(
    session: Session,
    uncertainties: Uncertainties,
    *,
    cuts: Sequence[str] = (),
    material: str = "",
    most_jobs: int = MOST_JOBS,
) -> list[RemovalPair]:
    """List what passes took, by the readings around them, from the newest jobs that have any.

    Only of some kinds of cut, or on one material, if asked. Where a tip was shortened the readings
    are counted from two tips, and nothing is learnt.
    """
    jobs_with = (
        select(BenchPass.job_id)
        .join(Job, Job.id == BenchPass.job_id)
        .join(Piece, Piece.id == Job.piece_id)
        .where(
            BenchPass.struck_at.is_(None),
            Job.id.not_in(_SHORTENED),
            *([BenchPass.kind.in_(cuts)] if cuts else []),
            *([Piece.material == material] if material else []),
        )
        .distinct()
        .order_by(BenchPass.job_id.desc())
        .limit(most_jobs)
    )
    jobs = session.scalars(
        select(Job)
        .where(Job.id.in_(jobs_with))
        .options(
            joinedload(Job.piece),
            selectinload(Job.passes),
        )
        .order_by(Job.number)
    ).all()
    sets = measurements_of_jobs(session, [job.id for job in jobs])
    return [
        pair
        for job in jobs
        for pair in bracket_passes(
            log_of_job(job, sets.get(job.number, [])),
            job.piece.material,
            str(job.number),
            uncertainties,
        )
    ]
