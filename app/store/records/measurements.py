"""Reading sets: kept as typed, never changed, and given back as the values `core` works on."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, Executable, Select, bindparam, func, or_, select
from sqlalchemy.orm import Session, aliased, object_session

from app.core.compare.differences import ReadSet
from app.core.compare.length_words import SureLength, list_lengths
from app.core.facing.corrections import CorrectedReadings, correct_readings
from app.core.facing.measurements import GaugesInUse, SetEntry
from app.core.facing.suspects import Stops, leave_out, leave_out_entries, suspects_of
from app.core.gauges.sizes import Register, SetSizes
from app.core.values.readings import FacingReadings, ReadingEntry, Uncertainties
from app.store.records.gauges import load_register, sizes_of
from app.store.records.loading import rows_of
from app.store.records.remembering import remember, remembered
from app.store.tables import Job, Reading, ReadingSet


@dataclass(frozen=True, slots=True)
class Measurement:
    """A kept reading set as a value."""

    id: int
    piece_id: int
    job_number: int | None
    role: str
    taken_on: date
    kept_at: datetime
    note: str
    readings: tuple[ReadingEntry, ...]
    replaces_id: int | None
    replaces_why: str
    replaced_by_id: int | None
    blade_set_id: int | None
    sizes: SetSizes
    corrected: CorrectedReadings

    @property
    def facing(self) -> FacingReadings:
        """The blade and tip readings by the gauges of their day, each with its uncertainty."""
        return self.corrected.facing

    @property
    def suspects(self) -> Stops:
        """The stops to take again, from which nothing is said while they stand."""
        return suspects_of(self.facing, self.uncertainties)

    @property
    def trusted(self) -> FacingReadings:
        """The facing without the stops that are to be taken again."""
        return leave_out(self.facing, self.suspects)

    @property
    def trusted_readings(self) -> tuple[ReadingEntry, ...]:
        """The readings as typed without those that are to be taken again."""
        return leave_out_entries(self.readings, self.suspects)

    @property
    def recorded(self) -> FacingReadings:
        """The blade and tip readings as they were typed."""
        return self.corrected.recorded_facing

    @property
    def uncertainties(self) -> Uncertainties:
        """What holds for the whole set where a reading does not say its own."""
        return self.corrected.uncertainties

    @property
    def lengths(self) -> tuple[SureLength, ...]:
        """The bore, other lengths and the dial, by the gauges of their day."""
        return list_lengths(self.readings, self.corrected.in_force)

    @property
    def read_set(self) -> ReadSet:
        """What is compared with another set."""
        return ReadSet(
            self.facing,
            self.readings,
            self.corrected.in_force,
            self.sizes.laying_u_mm,
            self.uncertainties,
        )

    @property
    def bore_mm(self) -> float | None:
        """The exit bore by the bore gauge of its day, if it was read."""
        pairs = zip(self.readings, self.corrected.in_force, strict=True)
        found = (told for one, told in pairs if one.quantity == "bore" and not one.depth_mm)
        return next((told.value_mm for told in found), None)


def add_reading_set(
    session: Session,
    entry: SetEntry,
    piece_id: int,
    job_id: int | None,
    gauges: GaugesInUse,
    now: datetime,
    *,
    replaces_id: int | None = None,
    replaces_why: str = "",
) -> ReadingSet:
    """Keep a reading set as typed."""
    kept = ReadingSet(
        piece_id=piece_id,
        job_id=job_id,
        role=entry.role,
        taken_on=entry.taken_on,
        note=entry.note,
        blade_set_id=gauges.blade_set_id,
        glass_id=gauges.glass_id,
        wedge_id=gauges.wedge_id,
        bore_gauge_id=gauges.bore_gauge_id,
        replaces_id=replaces_id,
        replaces_why=replaces_why,
        unread_mm=list(entry.unread_mm),
        read_once=entry.read_once,
        created_at=now,
        readings=[
            Reading(
                quantity=one.quantity,
                rail=one.rail,
                gauge_id=one.gauge_id,
                gap_mm=one.gap_mm,
                depth_mm=one.depth_mm,
                depth_typed=one.depth_typed,
                name=one.name,
                typed=one.typed,
                scale=one.scale,
                value_mm=one.value_mm,
            )
            for one in entry.readings
        ],
    )
    session.add(kept)
    session.flush()
    return kept


_ENTRY = tuple(field.name for field in fields(ReadingEntry))
SETS_KEPT = 1024


@lru_cache(maxsize=SETS_KEPT)
def _tell_set(
    readings: tuple[tuple[Any, ...], ...],
    sizes: SetSizes,
    unread_mm: tuple[float, ...],
    read_once: bool,
) -> tuple[tuple[ReadingEntry, ...], CorrectedReadings]:
    """Work out what readings come to by their gauges.

    A page and its pictures, and the next page about the same piece, ask again. What is kept is
    kept under all it is worked out from, the register of gauges included: it cannot grow stale.
    """
    entries = tuple(ReadingEntry(*one) for one in readings)
    told = correct_readings(entries, sizes)

    def as_taken(facing: FacingReadings) -> FacingReadings:
        return replace(facing, unread_mm=unread_mm, read_once=read_once)

    return entries, replace(
        told,
        recorded_facing=as_taken(told.recorded_facing),
        facing=as_taken(told.facing),
        later_facing=as_taken(told.later_facing) if told.later_facing else None,
    )


def _make(kept: Any, readings: tuple[tuple[Any, ...], ...], register: Register) -> Measurement:
    """Make a value of a row of `_SETS` and its readings, each the values of a `ReadingEntry`."""
    sizes = sizes_of(register, kept)
    entries, corrected = _tell_set(readings, sizes, tuple(kept.unread_mm), kept.read_once)
    return Measurement(
        id=kept.id,
        piece_id=kept.piece_id,
        job_number=kept.job_number,
        role=kept.role,
        taken_on=kept.taken_on,
        kept_at=kept.created_at,
        note=kept.note,
        readings=entries,
        replaces_id=kept.replaces_id,
        replaces_why=kept.replaces_why,
        replaced_by_id=kept.replaced_by_id,
        blade_set_id=kept.blade_set_id,
        sizes=sizes,
        corrected=corrected,
    )


# Rows of columns rather than records: a page lists dozens of sets with hundreds of readings, none
# of which it changes.
_correction = aliased(ReadingSet)
_SETS = (
    select(
        *ReadingSet.__table__.columns,
        Job.number.label("job_number"),
        _correction.id.label("replaced_by_id"),
    )
    .outerjoin(Job, Job.id == ReadingSet.job_id)
    .outerjoin(_correction, _correction.replaces_id == ReadingSet.id)
    .order_by(ReadingSet.taken_on, ReadingSet.id)
)
_WANTED: BindParameter[Any] = bindparam("wanted")
_MANY: BindParameter[Any] = bindparam("wanted", expanding=True)
_BY_ID = _SETS.where(ReadingSet.id == _WANTED)
_PIECE_OF = select(ReadingSet.piece_id).where(ReadingSet.id == _WANTED)
_BY_PIECE = _SETS.where(ReadingSet.piece_id == _WANTED)
_BY_JOB = _SETS.where(ReadingSet.job_id == _WANTED)
_BY_JOBS = _SETS.where(ReadingSet.job_id.in_(_MANY))
_OWN = _SETS.where(
    ReadingSet.piece_id.in_(_MANY),
    or_(ReadingSet.job_id.is_(None), Job.customer_id == bindparam("own")),
)
_READINGS = (
    select(Reading.set_id, *(getattr(Reading, name) for name in _ENTRY))
    .where(Reading.set_id.in_(_MANY))
    .order_by(Reading.id)
)


def _load(
    session: Session, statement: Executable, wanted: Any, **more: int | None
) -> list[Measurement]:
    """Load the reading sets wanted, in the order they were taken."""
    sets = rows_of(session, statement, {"wanted": wanted, **more}).all()
    if not sets:
        return []
    readings: dict[int, list[Any]] = {one.id: [] for one in sets}
    for row in rows_of(session, _READINGS, {"wanted": list(readings)}):
        readings[row[0]].append(tuple(row)[1:])
    register = load_register(session)
    return [_make(one, tuple(readings[one.id]), register) for one in sets]


def piece_of_set(session: Session, set_id: int) -> int | None:
    """Say whose piece's a reading set is."""
    return rows_of(session, _PIECE_OF, {"wanted": set_id}).scalar()


def get_measurement(session: Session, set_id: int) -> Measurement | None:
    """One reading set as a value."""
    return next(iter(_load(session, _BY_ID, set_id)), None)


def measurements_of_job(job: Job) -> list[Measurement]:
    """A job's reading sets in the order they were taken."""
    session = object_session(job)
    if session is None:
        return []
    # a piece's sets stay with it: where those were asked for, the job's are among them
    if (all_of_piece := remembered(session, ("sets of piece", job.piece_id))) is not None:
        return [one for one in all_of_piece if one.job_number == job.number]
    return list(remember(session, ("sets of job", job.id), lambda: _load(session, _BY_JOB, job.id)))


def measurements_of_jobs(session: Session, job_ids: Sequence[int]) -> dict[int, list[Measurement]]:
    """The reading sets of several jobs, by the job's number, in the order they were taken."""
    found: dict[int, list[Measurement]] = {}
    for one in _load(session, _BY_JOBS, list(job_ids)):
        found.setdefault(one.job_number or 0, []).append(one)
    return found


def list_measurements(session: Session, piece_id: int) -> list[Measurement]:
    """List a piece's reading sets, oldest first."""
    return list(
        remember(
            session,
            ("sets of piece", piece_id),
            lambda: _load(session, _BY_PIECE, piece_id),
        )
    )


def list_own_measurements(
    session: Session, piece_ids: Sequence[int], own_customer_id: int | None
) -> list[Measurement]:
    """List what was read of pieces outside any customer's job but the shop's own, oldest first."""
    return _load(session, _OWN, list(piece_ids), own=own_customer_id)


def last_facings(session: Session, piece_ids: Sequence[int]) -> dict[int, Measurement]:
    """Each piece's last facing, for lists; pieces never measured are left out.

    The same as `last_facing` of each, found without reading the sets before it.
    """
    return {one.piece_id: one for one in _load(session, _LAST, list(piece_ids))}


def _last_of_each() -> Select[Any]:
    place = func.row_number().over(
        partition_by=ReadingSet.piece_id,
        order_by=(
            (ReadingSet.role == "as_returned").desc(),
            ReadingSet.taken_on.desc(),
            ReadingSet.id.desc(),
        ),
    )
    replaced = select(_correction.id).where(_correction.replaces_id == ReadingSet.id)
    ranked = (
        select(ReadingSet.id, place.label("place"))
        .where(ReadingSet.piece_id.in_(_MANY), ~replaced.exists())
        .subquery()
    )
    return _SETS.where(ReadingSet.id.in_(select(ranked.c.id).where(ranked.c.place == 1)))


_LAST = _last_of_each()


def standing(measurements: Sequence[Measurement], role: str = "") -> list[Measurement]:
    """Leave out the sets that a correction replaced, and keep one role if asked."""
    return [
        one for one in measurements if one.replaced_by_id is None and (not role or one.role == role)
    ]


def last_facing(measurements: list[Measurement]) -> Measurement | None:
    """The facing a piece has: the last as returned, else the last set of any kind."""
    returned = standing(measurements, "as_returned")
    latest = standing(measurements)
    return returned[-1] if returned else latest[-1] if latest else None
