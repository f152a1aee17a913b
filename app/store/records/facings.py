"""The shop's facings: targets with their numbers as typed, and which jobs aim at them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.plan.facings import FacingTolerance, Target
from app.core.plan.targets import FacingEntry, make_target
from app.core.values.readings import ReadingEntry
from app.store.records.jobs import add_event
from app.store.records.keeping import as_entry, keep
from app.store.records.revisions import Conflict, change_record
from app.store.tables import Facing, FacingReading, Job, Revision


@dataclass(frozen=True, slots=True)
class KeptFacing:
    """A kept target as a value."""

    id: int
    name: str
    instrument_kind: str
    told_by: str
    curve: str | None
    shape: float | None
    readings: tuple[ReadingEntry, ...]
    tolerance: FacingTolerance
    note: str
    source_set_id: int | None
    in_library: bool
    version: int

    @property
    def target(self) -> Target:
        """The target as the plan takes it."""
        return make_target(self.curve, self.shape, self.readings)


def add_facing(
    session: Session, entry: FacingEntry, now: datetime, *, in_library: bool = True
) -> Facing:
    """Keep a new target."""
    return keep(
        session,
        Facing(
            **_columns(entry),
            in_library=in_library,
            created_at=now,
            readings=_readings(entry.readings),
        ),
    )


def _columns(entry: FacingEntry) -> dict[str, object]:
    return {
        "name": entry.name,
        "instrument_kind": entry.instrument_kind,
        "told_by": entry.told_by,
        "curve": entry.curve,
        "shape": entry.shape,
        "position_tolerance_mm": entry.tolerance.position_mm,
        "tip_tolerance_mm": entry.tolerance.tip_mm,
        "gap_tolerance_mm": entry.tolerance.gap_mm,
        "source_set_id": entry.source_set_id,
        "note": entry.note,
    }


def _readings(entries: Sequence[ReadingEntry]) -> list[FacingReading]:
    names = ("quantity", "rail", "gauge_id", "gap_mm", "typed", "scale", "value_mm")
    return [FacingReading(**{name: getattr(entry, name) for name in names}) for entry in entries]


def save_facing(
    session: Session,
    kept: Facing,
    entry: FacingEntry,
    seen_version: int | None,
    now: datetime,
    lines: tuple[str, str],
) -> None:
    """Change a target and keep what it said; raises Conflict.

    `lines` are its numbers before and after, as a notebook would have them.
    """
    same = _entries(kept.readings) == entry.readings
    if not same and seen_version not in (None, kept.version):
        raise Conflict(kept, {"numbers": lines})
    changed = change_record(session, kept, _columns(entry), seen_version=seen_version, now=now)
    if same:
        return
    before = {"numbers": lines[0]}
    session.add(Revision(noun="facing", record_id=kept.id, at=now, before=before))
    kept.readings = _readings(entry.readings)
    if not changed:
        kept.version += 1
    session.flush()


def set_in_library(session: Session, kept: Facing, in_library: bool, now: datetime) -> None:
    """Put a target into the library, or aside; jobs that aim at it keep it either way."""
    change_record(session, kept, {"in_library": in_library}, seen_version=None, now=now)


def find_facing(session: Session, facing_id: int) -> Facing | None:
    """A target's record with its numbers, for changing it."""
    return session.scalar(
        select(Facing).where(Facing.id == facing_id).options(selectinload(Facing.readings))
    )


def get_facing(session: Session, facing_id: int | None) -> KeptFacing | None:
    """A target as a value."""
    kept = find_facing(session, facing_id) if facing_id is not None else None
    return as_kept(kept) if kept else None


def list_facings(session: Session, instrument_kind: str = "") -> list[KeptFacing]:
    """List the library by instrument and name; one instrument's only, if asked."""
    return _list(
        session,
        Facing.in_library.is_(True),
        *([Facing.instrument_kind == instrument_kind] if instrument_kind else []),
    )


def list_set_aside(session: Session) -> list[KeptFacing]:
    """List the targets that are not in the library: put aside, or made for one job."""
    return _list(session, Facing.in_library.is_(False))


def _list(session: Session, *where: ColumnElement[bool]) -> list[KeptFacing]:
    facings = session.scalars(
        select(Facing)
        .where(*where)
        .options(selectinload(Facing.readings))
        .order_by(Facing.instrument_kind, Facing.name, Facing.id)
    )
    return [as_kept(facing) for facing in facings]


def as_kept(kept: Facing) -> KeptFacing:
    """A loaded target as a value."""
    tolerance = FacingTolerance(
        kept.position_tolerance_mm, kept.tip_tolerance_mm, kept.gap_tolerance_mm
    )
    return as_entry(KeptFacing, kept, readings=_entries(kept.readings), tolerance=tolerance)


def _entries(readings: Sequence[FacingReading]) -> tuple[ReadingEntry, ...]:
    # no target is told by them
    beside = {"depth_mm": None, "name": "", "depth_typed": "", "confirmed": False}
    return tuple(as_entry(ReadingEntry, reading, **beside) for reading in readings)


def choose_facing(
    session: Session, job: Job, facing: Facing | None, words: str, today: date, now: datetime
) -> None:
    """A job its target, or take it away with None; `words` go into the job's history."""
    facing_id = facing.id if facing else None
    if change_record(session, job, {"facing_id": facing_id}, seen_version=None, now=now):
        add_event(session, job, "target", today, now, words)


def list_jobs_aiming_at(session: Session, facing_id: int) -> list[Job]:
    """List the jobs that aim at a target, newest first."""
    return list(
        session.scalars(
            select(Job)
            .where(Job.facing_id == facing_id)
            .options(joinedload(Job.piece), joinedload(Job.customer))
            .order_by(Job.number.desc())
        )
    )
