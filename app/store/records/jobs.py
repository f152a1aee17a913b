"""Jobs: taking one in, moving it on, and the bench list."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, joinedload

from app.core.jobs.jobs import (
    CORK_LINES,
    NO_CORK,
    OUTCOMES,
    TICK_KINDS,
    AgreedEntry,
    DropOff,
    JobEntry,
    Ticks,
)
from app.core.jobs.stages import STAGES, stage_after
from app.core.values.customers import CustomerEntry, InstrumentEntry, has_tenon
from app.core.values.pieces import PieceEntry
from app.store.records.customers import add_customer, add_instrument, get_customer
from app.store.records.loading import Hanging
from app.store.records.pieces import add_piece, get_piece, pass_on_piece
from app.store.records.revisions import (
    Conflict,
    change_record,
    find_differences,
    is_stale,
    show_differences,
)
from app.store.records.shop import extend_checklists
from app.store.tables import Event, Instrument, Job, JobTick

JOB_PARTS = ("ticks", "events", "passes", "works", "slips")


class Unknown(Exception):  # noqa: N818 - shown to the maker beside the field
    """A record chosen on the page is not in the book (any more)."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


def take_in(session: Session, drop: DropOff, now: datetime) -> Job:
    """Write down a whole drop-off: customer, piece, instrument and job, in one act.

    Raises Unknown if a chosen record is not there, or the piece belongs to somebody else.
    """
    customer_id = _settle_customer(session, drop.customer, now)
    piece_id = _settle_piece(session, drop, customer_id, now)
    instrument_id = _settle_instrument(session, drop.instrument, customer_id)
    return add_job(session, drop.job, customer_id, piece_id, instrument_id, now=now)


def _settle_customer(session: Session, chosen: int | CustomerEntry, now: datetime) -> int:
    if isinstance(chosen, CustomerEntry):
        return add_customer(session, chosen, now).id
    if get_customer(session, chosen) is None:
        raise Unknown("customer", "That customer is not in the book.")
    return chosen


def _settle_piece(session: Session, drop: DropOff, customer_id: int, now: datetime) -> int:
    on = drop.job.dropped_off
    if isinstance(drop.piece, PieceEntry):
        piece = add_piece(session, customer_id, drop.piece, on, now)
    else:
        found = get_piece(session, drop.piece)
        if found is None or found.joined_to_id:
            raise Unknown("piece", "That piece is not in the book. Choose again.")
        if found.owner_id != customer_id:
            if not drop.passes_on:
                raise Unknown("piece", "That piece is not this customer's. Choose again.")
            pass_on_piece(session, found, customer_id, on, None, now)
        piece = found
    lines = {label for _, label in drop.job.ticks}
    if not has_tenon(piece.instrument_kind) and lines & CORK_LINES:
        raise Unknown("condition", NO_CORK)
    return piece.id


def _settle_instrument(
    session: Session, chosen: int | InstrumentEntry | None, customer_id: int
) -> int | None:
    if isinstance(chosen, InstrumentEntry):
        return add_instrument(session, customer_id, chosen).id
    if chosen is None:
        return None
    found = session.get(Instrument, chosen)
    if found is None or found.customer_id != customer_id:
        raise Unknown("instrument", "That instrument is not this customer's. Choose again.")
    return chosen


def add_job(
    session: Session,
    entry: JobEntry,
    customer_id: int,
    piece_id: int,
    instrument_id: int | None,
    *,
    now: datetime,
) -> Job:
    """Open a job with the next number."""
    number = (session.scalar(select(func.max(Job.number))) or 0) + 1
    job = Job(
        number=number,
        piece_id=piece_id,
        customer_id=customer_id,
        instrument_id=instrument_id,
        stage="dropped_off",
        dropped_off=entry.dropped_off,
        wanted_by=entry.wanted_by,
        request=entry.request,
        condition_notes=entry.condition_notes,
        declared_value_minor=entry.declared_value_minor,
        return_by=entry.return_by,
        created_at=now,
        ticks=[JobTick(kind=kind, label=label) for kind, label in entry.ticks],
    )
    session.add(job)
    session.flush()
    extend_checklists(session, entry.ticks)
    add_event(session, job, "stage", entry.dropped_off, now, "dropped off", stage="dropped_off")
    return job


def save_ticks(
    session: Session, job: Job, ticks: Ticks, today: date, now: datetime, *, at_drop_off: bool
) -> None:
    """Tick and untick lines; those that stay keep their outcome, the history what was ticked."""
    before = _own_ticks(job, at_drop_off)
    if before == set(ticks):
        return
    kept = [one for one in job.ticks if (one.kind, one.label) not in before - set(ticks)]
    added = [
        JobTick(kind=kind, label=label) for kind, label in ticks if (kind, label) not in before
    ]
    job.ticks = [*kept, *added]
    job.version += 1
    said = _show_ticks(before) or "nothing"
    add_event(session, job, "note", today, now, f"Checklist changed; it said: {said}.")
    extend_checklists(session, ticks)


def _own_ticks(job: Job, at_drop_off: bool) -> set[tuple[str, str]]:
    kinds = {key for key, kind in TICK_KINDS.items() if kind.at_drop_off == at_drop_off}
    return {(one.kind, one.label) for one in job.ticks if one.kind in kinds}


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
    event = Event(job_id=job.id, kind=kind, on=on, at=now, words=words, stage=stage)
    session.add(event)
    session.flush()
    return event


def move_job(session: Session, job: Job, stage: str, on: date, now: datetime) -> None:
    """Move a job to a stage and date the change; nothing happens if it is there already."""
    if job.stage == stage:
        return
    closes = not STAGES[stage].open
    change_record(
        session,
        job,
        {"stage": stage, "returned_on": on if closes else None},
        seen_version=None,
        now=now,
    )
    add_event(session, job, "stage", on, now, STAGES[stage].label, stage=stage)


def move_on(session: Session, job: Job, happening: str, on: date, now: datetime) -> None:
    """Move a job to the stage that what happened leads to, if it leads anywhere."""
    if stage := stage_after(job.stage, happening):
        move_job(session, job, stage, on, now)


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
        raise Conflict("job", {**shown, "checklist": (ticks_now, ticks_wanted)})
    change_record(session, job, changes, seen_version=seen_version, now=now)
    for event in job.events[:1]:
        event.on = entry.dropped_off
    save_ticks(session, job, entry.ticks, today, now, at_drop_off=True)


def get_job(session: Session, number: int, parts: Collection[str] = JOB_PARTS) -> Job | None:
    """Give a job by its number with everything its page shows, or only some parts of it."""
    job = session.scalar(_JOB, {"number": number})
    if job is None:
        return None
    for part in parts:
        _ON_A_JOB[part].load(session, [job])
    return job


_JOB = (
    select(Job)
    .where(Job.number == bindparam("number"))
    .options(joinedload(Job.piece), joinedload(Job.customer), joinedload(Job.instrument))
)
_ON_A_JOB = {part: Hanging(getattr(Job, part)) for part in JOB_PARTS}


@dataclass(frozen=True, slots=True)
class BenchGroup:
    """The open jobs at one stage, most pressing first."""

    stage: str
    jobs: tuple[Job, ...]


def list_bench(session: Session) -> list[BenchGroup]:
    """List open jobs by stage, in the order of the stages, then by the day they are wanted."""
    open_stages = [key for key, stage in STAGES.items() if stage.open]
    jobs = session.scalars(
        select(Job)
        .where(Job.stage.in_(open_stages))
        .options(joinedload(Job.piece), joinedload(Job.customer))
        .order_by(Job.wanted_by.is_(None), Job.wanted_by, Job.number)
    ).all()
    return [
        BenchGroup(stage, tuple(job for job in jobs if job.stage == stage)) for stage in open_stages
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
