"""Blades read together as a set, and the set a family of instruments is read with."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.core.gauges.blade_sets import BladeSetEntry, family_of
from app.store.records.keeping import keep
from app.store.records.revisions import Conflict, change_record
from app.store.tables import BladeSet, BladeSetMember, FamilyBladeSet, Gauge, Revision


def get_blade_set(session: Session, set_id: int) -> BladeSet | None:
    """A blade set with its blades."""
    return session.scalar(
        select(BladeSet)
        .where(BladeSet.id == set_id)
        .options(selectinload(BladeSet.members).joinedload(BladeSetMember.gauge))
    )


def find_set_named(session: Session, name: str, but: int | None = None) -> BladeSet | None:
    """Find another set of this name."""
    blade_sets = session.scalars(select(BladeSet)).all()
    folded = name.casefold()
    return next(
        (
            blade_set
            for blade_set in blade_sets
            if blade_set.id != but and blade_set.name.casefold() == folded
        ),
        None,
    )


def add_blade_set(session: Session, entry: BladeSetEntry) -> BladeSet:
    """Put blades together as a set."""
    made = keep(session, BladeSet(name=entry.name))
    _place_members(session, made.id, entry)
    return made


def _place_members(session: Session, set_id: int, entry: BladeSetEntry) -> None:
    blades = session.scalars(select(Gauge).where(Gauge.id.in_(entry.gauge_ids))).all()
    for place, blade in enumerate(
        sorted(blades, key=lambda gauge: (-(gauge.nominal_mm or 0), gauge.id))
    ):
        keep(session, BladeSetMember(blade_set_id=set_id, gauge_id=blade.id, place=place))


def save_blade_set(
    session: Session,
    blade_set: BladeSet,
    entry: BladeSetEntry,
    seen_version: int | None,
    now: datetime,
) -> None:
    """Change a loaded set's name and blades, keeping what it was; raises Conflict."""
    before = {member.gauge_id for member in blade_set.members}
    if seen_version is not None and seen_version != blade_set.version:
        if before != set(entry.gauge_ids) or blade_set.name != entry.name:
            raise Conflict(blade_set, {"name": (blade_set.name, entry.name)})
        return
    change_record(session, blade_set, {"name": entry.name}, seen_version=None, now=now)
    if before == set(entry.gauge_ids):
        return
    note_members(session, blade_set.id, now)
    for member in list(blade_set.members):
        session.delete(member)
    session.flush()
    session.expire(blade_set, ["members"])
    _place_members(session, blade_set.id, entry)
    blade_set.version += 1
    session.flush()


def note_members(session: Session, set_id: int, now: datetime) -> set[int]:
    """Write down which blades a set holds before that changes; gives their ids."""
    blades = session.scalars(
        select(Gauge)
        .join(BladeSetMember, BladeSetMember.gauge_id == Gauge.id)
        .where(BladeSetMember.blade_set_id == set_id)
        .order_by(BladeSetMember.place)
    ).all()
    before = {"blades": ", ".join(gauge.label for gauge in blades)}
    keep(session, Revision(noun="blade_set", record_id=set_id, at=now, before=before))
    return {gauge.id for gauge in blades}


def family_sets(session: Session) -> dict[str, int]:
    """The set chosen for each family that has one."""
    return {
        family_blade_set.family: family_blade_set.blade_set_id
        for family_blade_set in session.scalars(select(FamilyBladeSet))
    }


def save_families(session: Session, chosen: Mapping[str, int | None], now: datetime) -> None:
    """Keep which set each family is read with, and what was chosen before."""
    before = family_sets(session)
    for family, set_id in chosen.items():
        if before.get(family) == set_id:
            continue
        kept = session.get(FamilyBladeSet, family)
        old = {"family": family, "blade_set_id": before.get(family)}
        session.add(Revision(noun="family_blade_set", record_id=set_id or 0, at=now, before=old))
        if set_id is None:
            session.delete(kept)
        elif kept is None:
            session.add(FamilyBladeSet(family=family, blade_set_id=set_id))
        else:
            kept.blade_set_id = set_id
    session.flush()


def set_for_kind(session: Session, instrument_kind: str) -> int | None:
    """The set chosen for the family of a kind of instrument, if one is."""
    kept = session.get(FamilyBladeSet, family_of(instrument_kind))
    return kept.blade_set_id if kept else None
