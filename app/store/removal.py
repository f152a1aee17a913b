"""Passes and readings in the order they were done, for what each pass took."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.bench import LoggedPass, bracket_passes
from app.core.readings import FacingReadings, Uncertainties
from app.core.removal import RemovalPair
from app.core.sizes import GaugeFacts
from app.store.gauges import load_register
from app.store.measurements import as_measurement
from app.store.tables import BenchPass, Job, Piece, ReadingSet

# the rate follows the shop's hand and paper as they are now, not as they were years ago
RECENT_JOBS = 60
MOST_JOBS = 400


def log_of_job(job: Job, register: dict[int, GaugeFacts]) -> list[FacingReadings | LoggedPass]:
    """Give a loaded job's standing readings and passes in the order they were done.

    A correction stands where the readings it replaces stood. `register` tells what the gauges
    were on the day.
    """
    sets = {one.id: one for one in job.reading_sets}
    entries: list[tuple[date, datetime, FacingReadings | LoggedPass]] = []
    for kept in job.reading_sets:
        facing = as_measurement(kept, register).facing
        if kept.replaced_by is not None or not (
            facing.left or facing.right or facing.tip_opening_mm is not None
        ):
            continue
        first = kept
        while first.replaces_id is not None and first.replaces_id in sets:
            first = sets[first.replaces_id]
        entries.append((first.taken_on, first.created_at, facing))
    entries += [
        (one.done_on, one.created_at, as_logged(one)) for one in job.passes if one.struck_at is None
    ]
    return [entry for _, _, entry in sorted(entries, key=lambda entry: entry[:2])]


def as_logged(kept: BenchPass) -> LoggedPass:
    """Give a kept pass as the bench's log has it."""
    strokes = None if kept.strokes is None else float(kept.strokes)
    return LoggedPass(kept.kind, kept.abrasive, kept.grit, strokes)


def list_used_passes(session: Session, most: int = 60) -> list[LoggedPass]:
    """List the shop's last passes, newest first."""
    kept = session.scalars(
        select(BenchPass)
        .where(BenchPass.struck_at.is_(None))
        .order_by(BenchPass.id.desc())
        .limit(most)
    )
    return [as_logged(one) for one in kept]


def list_removal_pairs(
    session: Session,
    uncertainties: Uncertainties,
    *,
    cuts: Sequence[str] = (),
    material: str = "",
    most_jobs: int = MOST_JOBS,
) -> list[RemovalPair]:
    """List what passes took, by the readings around them, from the newest jobs that have any.

    Only of some kinds of cut, or on one material, if asked.
    """
    jobs_with = (
        select(BenchPass.job_id)
        .join(Job, Job.id == BenchPass.job_id)
        .join(Piece, Piece.id == Job.piece_id)
        .where(
            BenchPass.struck_at.is_(None),
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
            selectinload(Job.reading_sets).options(
                selectinload(ReadingSet.readings), selectinload(ReadingSet.replaced_by)
            ),
        )
        .order_by(Job.number)
    )
    register = load_register(session)
    return [
        pair
        for job in jobs
        for pair in bracket_passes(
            log_of_job(job, register), job.piece.material, str(job.number), uncertainties
        )
    ]
