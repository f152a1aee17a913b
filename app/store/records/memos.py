"""Memos beside a piece or its job; one struck out stays and no longer counts."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, joinedload

from app.core.jobs.cures import Case, Felt
from app.core.jobs.memos import MEMO_KINDS, MemoEntry
from app.core.values.passes import CUT_KINDS
from app.core.values.works import WORK_KINDS
from app.store.records.keeping import keep
from app.store.records.measurements import measurements_of_jobs, standing
from app.store.tables import BenchPass, Job, JobTick, Memo, Piece, Work

NEWEST = 40  # jobs of which it is worked out whether players feel what the readings say
# a complaint whose outcome says how it blows beside before
RESISTS = "hard"
FELT_BY_OUTCOME = {"better": "easier", "same": "alike", "worse": "harder"}
AWAITING = tuple(key for key, kind in MEMO_KINDS.items() if kind.done)
OF_ORDERS = tuple(key for key, kind in MEMO_KINDS.items() if kind.of_order)
_WITH = (joinedload(Memo.customer), joinedload(Memo.piece), joinedload(Memo.job))


def add_memo(
    session: Session,
    piece: Piece,
    job: Job | None,
    entry: MemoEntry,
    now: datetime,
    customer_id: int | None = None,
) -> Memo:
    """Keep a memo."""
    return keep(
        session,
        Memo(
            piece_id=piece.id,
            job_id=job.id if job else None,
            customer_id=customer_id,
            kind=entry.kind,
            on=entry.on,
            due=entry.due,
            details=dict(entry.details),
            created_at=now,
        ),
    )


def get_memo(session: Session, memo_id: int) -> Memo | None:
    """A memo with its piece, job and customer."""
    return session.scalar(select(Memo).where(Memo.id == memo_id).options(*_WITH))


def list_memos(session: Session, piece: Piece, job: Job | None = None) -> Sequence[Memo]:
    """List a job's memos, or all of a piece's, newest first; those struck out too.

    What is an order's as a whole is listed with each of its jobs and pieces.
    """
    own = Memo.job_id == job.id if job else Memo.piece_id == piece.id
    order = func.coalesce(Job.order_id, Job.id)
    orders = select(order).where(Job.id == job.id if job else Job.piece_id == piece.id)
    shared = Memo.kind.in_(OF_ORDERS) & Memo.job_id.in_(select(Job.id).where(order.in_(orders)))
    memos = select(Memo).where(or_(own, shared)).options(*_WITH)
    return session.scalars(memos.order_by(Memo.on.desc(), Memo.id.desc())).all()


def list_awaited(session: Session, *, due_until: date | None = None) -> Sequence[Memo]:
    """List what is awaited and has not come, by its day; only what is due by then, if asked."""
    memos = select(Memo).where(
        Memo.due.is_not(None),
        Memo.done_on.is_(None),
        Memo.struck_at.is_(None),
        Memo.kind.in_(AWAITING),
    )
    if due_until:
        memos = memos.where(Memo.due <= due_until)
    return session.scalars(memos.options(*_WITH).order_by(Memo.due, Memo.id)).all()


def list_out(session: Session) -> dict[int, Memo]:
    """What says that a job's piece is out of the shop, by the job's id."""
    memos = select(Memo).where(
        Memo.kind == "away", Memo.done_on.is_(None), Memo.struck_at.is_(None)
    )
    return {memo.job_id: memo for memo in session.scalars(memos) if memo.job_id is not None}


def last_memo(
    session: Session, piece: Piece, job: Job | None, kind: str, **details: str
) -> Memo | None:
    """The newest standing memo of a kind that holds these details, of a job or a piece."""
    standing = (memo for memo in list_memos(session, piece, job) if memo.struck_at is None)
    of_kind = (memo for memo in standing if memo.kind == kind)
    return next((memo for memo in of_kind if details.items() <= memo.details.items()), None)


def warranty_of(session: Session, piece: Piece, on: date) -> Memo | None:
    """The warranty a piece is under on a day, the longest of several."""
    warranties = [
        memo
        for memo in list_memos(session, piece)
        if memo.kind == "warranty" and memo.struck_at is None and memo.on <= on <= (memo.due or on)
    ]
    return max(warranties, key=lambda memo: memo.due or on, default=None)


def trial_of(session: Session, piece: Piece) -> Memo | None:
    """The trial a piece is out on, if it is."""
    return next((m for m in list_memos(session, piece) if m.kind == "trial" and is_open(m)), None)


def is_open(memo: Memo) -> bool:
    """Say whether a memo still awaits something."""
    return memo.done_on is None and memo.struck_at is None


def finish_memo(session: Session, memo: Memo, on: date, answer: str = "") -> None:
    """Note that what a memo awaited has come; pressed twice, the first day stands."""
    if memo.done_on is None:
        memo.done_on = on
        if answer:
            memo.details = {**memo.details, "answer": answer}
        session.flush()


def list_cases(session: Session) -> list[Case]:
    """List every complaint whose outcome is known, with the cuts and works its job had."""
    done: dict[int, set[str]] = {}
    cuts = select(BenchPass.job_id, BenchPass.kind).where(BenchPass.struck_at.is_(None))
    works = select(Work.job_id, Work.kind, Work.label).where(Work.struck_at.is_(None))
    for job_id, kind in session.execute(cuts.distinct()):
        done.setdefault(job_id, set()).add(CUT_KINDS[kind].label)
    for job_id, kind, label in session.execute(works.distinct()):
        done.setdefault(job_id, set()).add(label or WORK_KINDS[kind].label)
    ticks = select(JobTick.job_id, JobTick.label, JobTick.outcome).where(
        JobTick.kind == "complaint", JobTick.outcome != ""
    )
    return [
        Case(label, outcome, frozenset(done.get(job_id, ())))
        for job_id, label, outcome in session.execute(ticks)
    ]


def list_felt(session: Session) -> list[Felt]:
    """List the newest jobs read before and after whose player said how it blows beside before.

    That is what a play-test says, else the outcome where it came in hard.
    """
    ticks = select(JobTick.job_id, JobTick.outcome).where(
        JobTick.kind == "complaint", JobTick.label == RESISTS, JobTick.outcome != ""
    )
    said = {job_id: FELT_BY_OUTCOME[outcome] for job_id, outcome in session.execute(ticks)}
    tests = select(Memo.job_id, Memo.details).where(
        Memo.kind == "play_test", Memo.job_id.is_not(None), Memo.struck_at.is_(None)
    )
    for job_id, details in session.execute(tests.order_by(Memo.on, Memo.id)):
        if feel := details.get("feel"):
            said[job_id] = feel
    newest = sorted(said, reverse=True)[:NEWEST]
    sets = measurements_of_jobs(session, newest)
    jobs = select(Job.id, Job.number, Piece.instrument_kind).join(Piece, Piece.id == Job.piece_id)
    felt = []
    for job_id, number, kind in session.execute(jobs.where(Job.id.in_(newest))):
        sides = [standing(sets.get(number, []), role) for role in ("as_received", "as_returned")]
        if all(sides):
            felt.append(Felt(said[job_id], kind, *(side[-1].read_set for side in sides)))
    return felt
