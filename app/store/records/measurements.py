"""Reading sets: kept as typed, never changed, and given back as the values `core` works on."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from functools import lru_cache

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session, aliased, object_session, selectinload

from app.core.compare.differences import ReadSet
from app.core.compare.length_words import SureLength, list_lengths
from app.core.compare.table_profiles import TableProfile, judge_table
from app.core.facing.corrections import CorrectedReadings, correct_readings
from app.core.facing.measurements import GaugesInUse, SetEntry
from app.core.facing.suspects import Stops, leave_out, leave_out_entries, suspects_of
from app.core.gauges.sizes import Register, SetSizes
from app.core.values.readings import FacingReadings, ReadingEntry, Uncertainties
from app.store.records.gauges import load_register, sizes_of
from app.store.records.keeping import as_entry, keep
from app.store.records.session_cache import remember, remembered
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
    def table(self) -> TableProfile | None:
        """What the table is, if its gaps were read."""
        return judge_table(self.readings, self.corrected.in_force)

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
        bores = (sure for entry, sure in pairs if entry.quantity == "bore" and not entry.depth_mm)
        return next((bore.value_mm for bore in bores), None)


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
    return keep(
        session,
        ReadingSet(
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
            readings=[Reading(**asdict(reading)) for reading in entry.readings],
        ),
    )


SETS_KEPT = 1024


@lru_cache(maxsize=SETS_KEPT)
def _tell_set(
    readings: tuple[ReadingEntry, ...],
    sizes: SetSizes,
    unread_mm: tuple[float, ...],
    read_once: bool,
) -> CorrectedReadings:
    """Work out what readings come to by their gauges.

    A page and its pictures, and the next page about the same piece, ask again. What is kept is
    kept under all it is worked out from, the register of gauges included: it cannot grow stale.
    """
    corrected = correct_readings(readings, sizes)

    def as_taken(facing: FacingReadings) -> FacingReadings:
        return replace(facing, unread_mm=unread_mm, read_once=read_once)

    return replace(
        corrected,
        recorded_facing=as_taken(corrected.recorded_facing),
        facing=as_taken(corrected.facing),
        later_facing=as_taken(corrected.later_facing) if corrected.later_facing else None,
    )


_correction = aliased(ReadingSet)
_SETS = (
    select(ReadingSet, Job.number, _correction.id)
    .outerjoin(Job, Job.id == ReadingSet.job_id)
    .outerjoin(_correction, _correction.replaces_id == ReadingSet.id)
    .options(selectinload(ReadingSet.readings))
    .order_by(ReadingSet.taken_on, ReadingSet.id)
)


def _load(session: Session, *which: ColumnElement[bool]) -> list[Measurement]:
    """Load the reading sets wanted, in the order they were taken."""
    rows = session.execute(_SETS.where(*which)).all()
    register = load_register(session) if rows else Register()
    measurements = []
    for kept, job_number, replaced_by_id in rows:
        sizes = sizes_of(register, kept)
        readings = tuple(as_entry(ReadingEntry, reading) for reading in kept.readings)
        unread_mm, read_once = tuple(kept.unread_mm), kept.read_once
        measurements.append(
            as_entry(
                Measurement,
                kept,
                job_number=job_number,
                kept_at=kept.created_at,
                readings=readings,
                replaced_by_id=replaced_by_id,
                sizes=sizes,
                corrected=_tell_set(readings, sizes, unread_mm, read_once),
            )
        )
    return measurements


def piece_of_set(session: Session, set_id: int) -> int | None:
    """Say whose piece's a reading set is."""
    return session.scalar(select(ReadingSet.piece_id).where(ReadingSet.id == set_id))


def get_measurement(session: Session, set_id: int) -> Measurement | None:
    """One reading set as a value."""
    return next(iter(_load(session, ReadingSet.id == set_id)), None)


def measurements_of_job(job: Job) -> list[Measurement]:
    """A job's reading sets in the order they were taken."""
    session = object_session(job)
    if session is None:
        return []
    # a piece's sets stay with it: where those were asked for, the job's are among them
    if (all_of_piece := remembered(session, ("sets of piece", job.piece_id))) is not None:
        return [measurement for measurement in all_of_piece if measurement.job_number == job.number]
    of_job = ReadingSet.job_id == job.id
    return list(remember(session, ("sets of job", job.id), lambda: _load(session, of_job)))


def measurements_of_jobs(session: Session, job_ids: Sequence[int]) -> dict[int, list[Measurement]]:
    """The reading sets of several jobs, by the job's number, in the order they were taken."""
    by_job: dict[int, list[Measurement]] = {}
    for measurement in _load(session, ReadingSet.job_id.in_(job_ids)):
        by_job.setdefault(measurement.job_number or 0, []).append(measurement)
    return by_job


def list_measurements(session: Session, piece_id: int) -> list[Measurement]:
    """List a piece's reading sets, oldest first."""
    of_piece = ReadingSet.piece_id == piece_id
    return list(remember(session, ("sets of piece", piece_id), lambda: _load(session, of_piece)))


def list_own_measurements(
    session: Session, piece_ids: Sequence[int], own_customer_id: int | None
) -> list[Measurement]:
    """List what was read of pieces outside any customer's job but the shop's own, oldest first."""
    own = or_(ReadingSet.job_id.is_(None), Job.customer_id == own_customer_id)
    return _load(session, ReadingSet.piece_id.in_(piece_ids), own)


def last_facings(session: Session, piece_ids: Sequence[int]) -> dict[int, Measurement]:
    """Each piece's last facing, for lists; pieces never measured are left out.

    The same as `last_facing` of each, found without reading the sets before it.
    """
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
        .where(ReadingSet.piece_id.in_(piece_ids), ~replaced.exists())
        .subquery()
    )
    last = ReadingSet.id.in_(select(ranked.c.id).where(ranked.c.place == 1))
    return {measurement.piece_id: measurement for measurement in _load(session, last)}


def standing(measurements: Sequence[Measurement], role: str = "") -> list[Measurement]:
    """Leave out the sets that a correction replaced, and keep one role if asked."""
    return [
        measurement
        for measurement in measurements
        if measurement.replaced_by_id is None and (not role or measurement.role == role)
    ]


def last_facing(measurements: list[Measurement]) -> Measurement | None:
    """The facing a piece has: the last as returned, else the last set of any kind."""
    returned = standing(measurements, "as_returned")
    latest = standing(measurements)
    return returned[-1] if returned else latest[-1] if latest else None
