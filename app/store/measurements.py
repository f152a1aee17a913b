"""Reading sets: kept as typed, never changed, and given back as the values `core` works on."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, object_session, selectinload

from app.core.corrections import CorrectedReadings, ToldReading, correct_readings
from app.core.length_changes import TrueLengths, tell_lengths
from app.core.measurements import GaugesInUse, SetEntry
from app.core.readings import FacingReadings, ReadingEntry, Uncertainties
from app.core.sizes import GaugeFacts, SetSizes
from app.store.gauges import load_register, sizes_of
from app.store.tables import Job, Reading, ReadingSet


@dataclass(frozen=True, slots=True)
class Measurement:
    """A kept reading set as a value."""

    id: int
    piece_id: int
    job_number: int | None
    role: str
    taken_on: date
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
    def recorded(self) -> FacingReadings:
        """The blade and tip readings as they were typed."""
        return self.corrected.recorded_facing

    @property
    def uncertainties(self) -> Uncertainties:
        """What holds for the whole set where a reading does not say its own."""
        return self.corrected.uncertainties

    @property
    def lengths(self) -> TrueLengths:
        """The bore at depths, other lengths and the dial, by the gauges of their day."""
        return tell_lengths(self.readings, self.corrected.in_force)

    @property
    def bore_mm(self) -> float | None:
        """The exit bore by the bore gauge of its day, if it was read."""
        return self._bore.value_mm if self._bore else None

    @property
    def bore_u_mm(self) -> float | None:
        """The standard uncertainty of the exit bore."""
        return self._bore.u_mm if self._bore else None

    @property
    def _bore(self) -> ToldReading | None:
        pairs = zip(self.readings, self.corrected.in_force, strict=True)
        found = (told for one, told in pairs if one.quantity == "bore" and not one.depth_mm)
        return next(found, None)


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


def as_measurement(
    kept: ReadingSet, register: dict[int, GaugeFacts], job_number: int | None = None
) -> Measurement:
    """Give a loaded reading set as a value, by what its gauges were on its day."""
    readings = tuple(
        ReadingEntry(
            one.quantity, one.rail, one.gauge_id, one.gap_mm, one.depth_mm, one.typed,
            one.scale, one.value_mm, one.name, one.depth_typed,
        )
        for one in kept.readings
    )  # fmt: skip
    sizes = sizes_of(register, kept)
    return Measurement(
        id=kept.id,
        piece_id=kept.piece_id,
        job_number=job_number,
        role=kept.role,
        taken_on=kept.taken_on,
        note=kept.note,
        readings=readings,
        replaces_id=kept.replaces_id,
        replaces_why=kept.replaces_why,
        replaced_by_id=kept.replaced_by.id if kept.replaced_by else None,
        blade_set_id=kept.blade_set_id,
        sizes=sizes,
        corrected=correct_readings(readings, sizes),
    )


def get_measurement(session: Session, set_id: int) -> Measurement | None:
    """Give one reading set as a value."""
    kept = session.scalar(
        select(ReadingSet)
        .where(ReadingSet.id == set_id)
        .options(
            selectinload(ReadingSet.readings),
            selectinload(ReadingSet.replaced_by),
            joinedload(ReadingSet.job),
        )
    )
    if kept is None:
        return None
    return as_measurement(kept, load_register(session), kept.job.number if kept.job else None)


def measurements_of_job(job: Job) -> list[Measurement]:
    """Give a loaded job's reading sets in the order they were taken."""
    session = object_session(job)
    register = load_register(session) if session and job.reading_sets else {}
    made = [as_measurement(kept, register, job.number) for kept in job.reading_sets]
    return sorted(made, key=lambda one: (one.taken_on, one.id))


def list_measurements(session: Session, piece_id: int) -> list[Measurement]:
    """List a piece's reading sets, oldest first."""
    kept = session.scalars(
        select(ReadingSet)
        .where(ReadingSet.piece_id == piece_id)
        .options(
            selectinload(ReadingSet.readings),
            selectinload(ReadingSet.replaced_by),
            joinedload(ReadingSet.job),
        )
        .order_by(ReadingSet.taken_on, ReadingSet.id)
    )
    register = load_register(session)
    return [as_measurement(one, register, one.job.number if one.job else None) for one in kept]


def last_facings(session: Session, piece_ids: list[int]) -> dict[int, Measurement]:
    """Give each piece's last facing, for lists; pieces never measured are left out."""
    kept = session.scalars(
        select(ReadingSet)
        .where(ReadingSet.piece_id.in_(piece_ids))
        .options(
            selectinload(ReadingSet.readings),
            selectinload(ReadingSet.replaced_by),
            joinedload(ReadingSet.job),
        )
        .order_by(ReadingSet.taken_on, ReadingSet.id)
    )
    register = load_register(session)
    by_piece: dict[int, list[Measurement]] = {}
    for one in kept:
        made = as_measurement(one, register, one.job.number if one.job else None)
        by_piece.setdefault(one.piece_id, []).append(made)
    found = {piece_id: last_facing(sets) for piece_id, sets in by_piece.items()}
    return {piece_id: last for piece_id, last in found.items() if last}


def standing(measurements: list[Measurement], role: str = "") -> list[Measurement]:
    """Leave out the sets that a correction replaced, and keep one role if asked."""
    return [
        one for one in measurements if one.replaced_by_id is None and (not role or one.role == role)
    ]


def last_facing(measurements: list[Measurement]) -> Measurement | None:
    """Give the facing a piece has: the last as returned, else the last set of any kind."""
    returned = standing(measurements, "as_returned")
    latest = standing(measurements)
    return returned[-1] if returned else latest[-1] if latest else None
