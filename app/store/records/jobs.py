"""Jobs: taking one in, moving it on, and the bench list."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.jobs.drop_offs import JobEntry
from app.core.jobs.jobs import (
    OUTCOMES,
    TICK_KINDS,
    AgreedEntry,
    Ticks,
)
from app.core.jobs.stages import (
    BECAUSE,
    DROPPED_OFF,
    EXPECTED,
    OPEN_STAGES,
    STAGES,
    stage_after,
)
from app.store.records.keeping import keep
from app.store.records.revisions import (
    Conflict,
    change_record,
    find_differences,
    is_stale,
    show_differences,
)
from app.store.records.shop import extend_checklists
from app.store.tables import Event, Job, JobTick


def add_job(
    session: Session,
    entry: JobEntry,
    customer_id: int,
    piece_id: int,
    instrument_id: int | None,
    order_id: int | None = None,
    *,
    now: datetime,
) -> Job:
    """Open a job with the next number."""
    number = (session.scalar(select(func.max(Job.number))) or 0) + 1
    stage = EXPECTED if entry.expected else DROPPED_OFF
    columns = {column.name: getattr(entry, column.name) for column in fields(entry)}
    del columns["ticks"], columns["expected"]
    job = keep(
        session,
        Job(
            number=number,
            piece_id=piece_id,
            customer_id=customer_id,
            instrument_id=instrument_id,
            order_id=order_id,
            stage=stage,
            created_at=now,
            ticks=[JobTick(kind=kind, label=label) for kind, label in entry.ticks],
            **columns,
        ),
    )
    extend_checklists(session, entry.ticks)
    add_event(session, job, "stage", entry.dropped_off, now, STAGES[stage].label, stage=stage)
    return job


def list_order(session: Session, job: Job) -> list[Job]:
    """List the jobs of the order that a job came in with, itself among them, by number."""
    first = job.order_id or job.id
    wanted = or_(Job.id == first, Job.order_id == first)
    parts = selectinload(Job.ticks), selectinload(Job.works), selectinload(Job.slips)
    of_order = select(Job).where(wanted).options(*_WHOSE, *parts).order_by(Job.number)
    return list(session.scalars(of_order))


def save_ticks(
    session: Session, job: Job, ticks: Ticks, today: date, now: datetime, *, at_drop_off: bool
) -> None:
    """Tick and untick lines; those that stay keep their outcome, the history what was ticked."""
    before = _own_ticks(job, at_drop_off)
    if before == set(ticks):
        return
    kept = [tick for tick in job.ticks if (tick.kind, tick.label) not in before - set(ticks)]
    added = [
        JobTick(kind=kind, label=label) for kind, label in ticks if (kind, label) not in before
    ]
    job.ticks = [*kept, *added]
    job.version += 1
    said = _show_ticks(before) or "nothing"
    add_event(session, job, "note", today, now, f"Checklist changed; before it said {said}.")
    extend_checklists(session, ticks)


def _own_ticks(job: Job, at_drop_off: bool) -> set[tuple[str, str]]:
    kinds = {key for key, kind in TICK_KINDS.items() if kind.at_drop_off == at_drop_off}
    return {(tick.kind, tick.label) for tick in job.ticks if tick.kind in kinds}


def _show_ticks(ticks: Collection[tuple[str, str]]) -> str:
    return "; ".join(label for _, label in sorted(ticks))


def save_outcomes(
    session: Session, job: Job, outcomes: Mapping[int, str], today: date, now: datetime
) -> None:
    """Keep how each complaint is after the work; `outcomes` by the tick's id, "" for not known."""
    said = []
    for tick in job.ticks:
        outcome = outcomes.get(tick.id, tick.outcome)
        if outcome != tick.outcome:
            tick.outcome = outcome
            said.append(f"{tick.label}: {OUTCOMES.get(outcome, 'not known')}")
    if said:
        job.version += 1
        add_event(session, job, "note", today, now, f"After the work: {'; '.join(said)}.")


def add_event(
    session: Session,
    job: Job,
    kind: str,
    on: date,
    now: datetime,
    words: str,
    *,
    stage: str | None = None,
) -> Event:
    """Add a line to the job's history."""
    return keep(session, Event(job_id=job.id, kind=kind, on=on, at=now, words=words, stage=stage))


def move_job(
    session: Session, job: Job, stage: str, on: date, now: datetime, because: str = ""
) -> None:
    """Move a job to a stage and date the change; nothing happens if it is there already.

    The history says `because` of what it moved, where nobody chose the stage.
    """
    if job.stage == stage:
        return
    opened = STAGES[stage].open
    changes = {"stage": stage, "returned_on": None if opened else on}
    if job.stage == EXPECTED and opened:
        changes["dropped_off"] = on
    change_record(session, job, changes, seen_version=None, now=now)
    label = STAGES[stage].label
    words = f"{label}, because {because}" if because else label
    add_event(session, job, "stage", on, now, words, stage=stage)


def move_on(session: Session, job: Job, happening: str, on: date, now: datetime) -> None:
    """Move a job to the stage that what happened leads to, if it leads anywhere."""
    if stage := stage_after(job.stage, happening):
        move_job(session, job, stage, on, now, BECAUSE[happening])


def save_agreed(
    session: Session,
    job: Job,
    entry: AgreedEntry,
    seen_version: int | None,
    today: date,
    now: datetime,
) -> None:
    """Change what was agreed and the drop-off's words; raises Conflict."""
    names = (
        "request", "condition_notes", "declared_value_minor", "dropped_off", "wanted_by",
        "return_by", "tracking", "agreed_work", "agreed_price_minor", "deposit_minor",
    )  # fmt: skip
    changes = {name: getattr(entry, name) for name in names}
    if job.price_in_lines and entry.agreed_price_minor != job.agreed_price_minor:
        changes["price_in_lines"] = False
    ticks_now, ticks_wanted = _show_ticks(_own_ticks(job, True)), _show_ticks(entry.ticks)
    if ticks_now != ticks_wanted and is_stale(job, seen_version):
        shown = show_differences(job, find_differences(job, changes))
        raise Conflict(job, {**shown, "checklist": (ticks_now, ticks_wanted)})
    change_record(session, job, changes, seen_version=seen_version, now=now)
    for event in job.events[:1]:
        event.on = entry.dropped_off
    save_ticks(session, job, entry.ticks, today, now, at_drop_off=True)


def get_job(session: Session, number: int) -> Job | None:
    """A job by its number with everything its page shows."""
    job = session.scalar(select(Job).where(Job.number == number).options(*_WHOSE))
    if job:
        session.refresh(job, ("ticks", "events", "passes", "works", "slips"))
    return job


def find_open_job(session: Session, piece_id: int) -> Job | None:
    """Find the job for which a piece is here or expected."""
    open_jobs = select(Job).where(Job.piece_id == piece_id, Job.stage.in_(OPEN_STAGES))
    return session.scalars(open_jobs.limit(1)).first()


_WHOSE = joinedload(Job.piece), joinedload(Job.customer), joinedload(Job.instrument)


@dataclass(frozen=True, slots=True)
class BenchGroup:
    """The open jobs at one stage, most pressing first."""

    stage: str
    jobs: tuple[Job, ...]


def list_bench(session: Session) -> list[BenchGroup]:
    """List open jobs by stage, in the order of the stages, then by the day they are wanted."""
    jobs = session.scalars(
        select(Job)
        .where(Job.stage.in_(OPEN_STAGES))
        .options(joinedload(Job.piece), joinedload(Job.customer))
        .order_by(Job.wanted_by.is_(None), Job.wanted_by, Job.number)
    ).all()
    return [
        BenchGroup(stage, tuple(job for job in jobs if job.stage == stage)) for stage in OPEN_STAGES
    ]


def list_returned(session: Session, limit: int = 10) -> list[Job]:
    """List the jobs that went home last."""
    return list(
        session.scalars(
            select(Job)
            .where(Job.returned_on.is_not(None))
            .options(joinedload(Job.piece), joinedload(Job.customer))
            .order_by(Job.returned_on.desc(), Job.number.desc())
            .limit(limit)
        )
    )
