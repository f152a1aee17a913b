"""The gauge register: gauges, dated checks of their size, and what counts on a given day.

A gauge is never deleted, because readings name it; it is retired. A check is never changed; it is
struck out.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import Select, func, or_, select
from sqlalchemy.orm import Session, selectinload

from app.core.facing.measurements import GaugesInUse
from app.core.gauges.gauge_words import KeptCheck
from app.core.gauges.gauges import CheckEntry, GaugeEntry
from app.core.gauges.hand_gauges import FIELDS as HAND_KINDS
from app.core.gauges.hand_gauges import HandGauge
from app.core.gauges.sizes import (
    GaugeFacts,
    Register,
    SetSizes,
    SizeCheck,
    StudiedRepeat,
    hold_register,
)
from app.core.gauges.studies import StudyValue, work_out_study
from app.store.records.blade_sets import note_members
from app.store.records.keeping import as_entry, keep
from app.store.records.revisions import change_record, keep_revision
from app.store.records.session_cache import remember
from app.store.tables import (
    BladeSet,
    BladeSetMember,
    Gauge,
    GaugeCheck,
    Reading,
    ReadingSet,
    Shop,
    Study,
)


def load_register(session: Session) -> Register:
    """What is known of every gauge, retired ones too, by id."""
    return remember(session, "register", lambda: _load_register(session))


def _load_register(session: Session) -> Register:
    gauges = session.scalars(select(Gauge).order_by(Gauge.id).options(*_KNOWN))
    return hold_register(tuple(gauge_facts(gauge) for gauge in gauges))


# a study that was not taken over says nothing of its gauge
_KNOWN = (
    selectinload(Gauge.checks),
    selectinload(Gauge.studies).selectinload(Study.readings),
)


def gauge_facts(gauge: Gauge) -> GaugeFacts:
    """A gauge, loaded with its checks and studies, as the value that `core` works on."""
    return as_entry(
        GaugeFacts,
        gauge,
        checks=tuple(
            SizeCheck(check.checked_on, check.mark_mm, check.actual_mm, check.u_mm)
            for check in gauge.checks
            if check.struck_at is None
        ),
        studies=tuple(_studied(study) for study in gauge.studies if study.adopted_on is not None),
    )


def kept_checks(gauge: Gauge) -> tuple[KeptCheck, ...]:
    """A loaded gauge's checks as typed, struck ones too, by day."""
    return tuple(
        KeptCheck(check.id, as_entry(CheckEntry, check), check.struck_at is not None)
        for check in gauge.checks
    )


def _studied(study: Study) -> StudiedRepeat:
    outcome = work_out_study(study_values(study))
    return StudiedRepeat(study.done_on, outcome.repeatability_mm, float(outcome.within_dof))


def study_values(study: Study) -> tuple[StudyValue, ...]:
    """A loaded study's readings as values."""
    return tuple(as_entry(StudyValue, reading) for reading in study.readings)


def sizes_of(register: Register, kept: ReadingSet) -> SetSizes:
    """The gauges a reading set was taken with, as they count on its day."""
    return SetSizes(kept.taken_on, register, kept.glass_id, kept.wedge_id, kept.bore_gauge_id)


def sizes_in_use(session: Session, gauges: GaugesInUse, day: date) -> SetSizes:
    """The gauges of the reading grid as they count on a day."""
    return SetSizes(
        day, load_register(session), gauges.glass_id, gauges.wedge_id, gauges.bore_gauge_id
    )


def list_register(session: Session) -> list[Gauge]:
    """List every gauge with its checks and studies: blades thick to thin, then by age."""
    gauges = session.scalars(select(Gauge).options(*_KNOWN)).all()
    return sorted(gauges, key=lambda gauge: (-(gauge.nominal_mm or 0.0), gauge.id))


def list_hand_gauges(session: Session) -> tuple[HandGauge, ...]:
    """List dials and callipers to choose from: the last used of those in use first."""
    known = [gauge for gauge in load_register(session).values() if gauge.kind in HAND_KINDS]
    hand_gauges = sorted(known, key=lambda gauge: (gauge.retired, gauge.id))
    last: dict[str, int | None] = {}
    for kind in HAND_KINDS:
        ids = [gauge.id for gauge in hand_gauges if gauge.kind == kind and not gauge.retired]
        if len(ids) > 1:
            last[kind] = session.scalar(
                select(Reading.gauge_id)
                .where(Reading.gauge_id.in_(ids))
                .order_by(Reading.id.desc())
                .limit(1)
            )
    ordered = sorted(hand_gauges, key=lambda gauge: last.get(gauge.kind) != gauge.id)
    return tuple(HandGauge(gauge.id, gauge.kind, gauge.label, gauge.retired) for gauge in ordered)


def get_gauge(session: Session, gauge_id: int) -> Gauge | None:
    """A gauge with its checks and studies."""
    return session.scalar(select(Gauge).where(Gauge.id == gauge_id).options(*_KNOWN))


def add_gauge(session: Session, entry: GaugeEntry) -> Gauge:
    """Write a gauge into the register."""
    return keep(session, Gauge(**asdict(entry)))


def find_namesake(session: Session, kind: str, label: str, but: int | None = None) -> Gauge | None:
    """Find another gauge of this kind in use under the same name."""
    gauges = session.scalars(select(Gauge).where(Gauge.kind == kind, Gauge.retired.is_(False)))
    folded = label.casefold()
    return next(
        (gauge for gauge in gauges if gauge.id != but and gauge.label.casefold() == folded), None
    )


def places_of(session: Session, gauge: Gauge) -> tuple[list[BladeSet], bool]:
    """Say where a gauge is in use now: the blade sets it is in, and whether the shop names it."""
    sets = session.scalars(
        select(BladeSet)
        .join(BladeSetMember)
        .where(BladeSetMember.gauge_id == gauge.id)
        .options(selectinload(BladeSet.members).joinedload(BladeSetMember.gauge))
        .order_by(BladeSet.id)
    )
    shop = session.get_one(Shop, 1)
    return list(sets), gauge.id in {shop.glass_id, shop.wedge_id, shop.bore_gauge_id}


def retire_gauge(
    session: Session, gauge: Gauge, instead: Gauge | None, retired: bool, now: datetime
) -> None:
    """Retire a gauge, putting another in its place in blade sets and settings, or bring it back."""
    if retired:
        _put_in_place(session, gauge, instead, now)
    change_record(session, gauge, {"retired": retired}, seen_version=None, now=now)


def _put_in_place(session: Session, gauge: Gauge, instead: Gauge | None, now: datetime) -> None:
    members = session.scalars(
        select(BladeSetMember).where(BladeSetMember.gauge_id == gauge.id)
    ).all()
    for member in members:
        kept = note_members(session, member.blade_set_id, now)
        if instead is not None and instead.id not in kept:
            session.add(
                BladeSetMember(
                    blade_set_id=member.blade_set_id, gauge_id=instead.id, place=member.place
                )
            )
        session.delete(member)
    session.flush()
    shop = session.get_one(Shop, 1)
    names = ("glass_id", "wedge_id", "bore_gauge_id")
    changes = {name: instead.id for name in names if instead and getattr(shop, name) == gauge.id}
    if changes:
        change_record(session, shop, changes, seen_version=None, now=now)


def add_check(session: Session, gauge: Gauge, entry: CheckEntry, now: datetime) -> GaugeCheck:
    """Keep a check as typed."""
    return keep(session, GaugeCheck(gauge_id=gauge.id, **asdict(entry), created_at=now))


def strike_check(session: Session, check: GaugeCheck, struck: bool, now: datetime) -> None:
    """Strike a check out, or bring it back; it stays written either way."""
    keep_revision(session, check, ["struck_at"], now)
    check.struck_at = now if struck else None
    session.flush()


def _sets_with(gauge_id: int) -> Select[ReadingSet]:
    read = select(Reading.set_id).where(Reading.gauge_id == gauge_id)
    return select(ReadingSet).where(
        or_(
            ReadingSet.glass_id == gauge_id,
            ReadingSet.wedge_id == gauge_id,
            ReadingSet.bore_gauge_id == gauge_id,
            ReadingSet.id.in_(read),
        )
    )


def count_reading_sets(session: Session, gauge_id: int) -> int:
    """Count the reading sets a gauge was used for."""
    return session.scalar(select(func.count()).select_from(_sets_with(gauge_id).subquery())) or 0


def list_reading_sets_with(session: Session, gauge_id: int, most: int = 30) -> Sequence[ReadingSet]:
    """List the reading sets a gauge was used for, newest first."""
    return session.scalars(
        _sets_with(gauge_id)
        .options(selectinload(ReadingSet.piece), selectinload(ReadingSet.job))
        .order_by(ReadingSet.taken_on.desc(), ReadingSet.id.desc())
        .limit(most)
    ).all()
