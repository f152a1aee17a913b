"""The shop's settings, its gauges and blade sets, and what a new book starts with."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import datetime

from sqlalchemy import or_, select, update
from sqlalchemy.orm import Session, selectinload

from app.core.facing.measurements import Blade, GaugesInUse, count_stops
from app.core.gauges.sizes import SetSizes
from app.core.jobs.jobs import TICK_KINDS, Ticks
from app.core.shop.shop import BEGINNINGS, DEFAULT_CARE, DEFAULT_TERMS, ShopEntry
from app.core.values.units import SCALES, format_blade
from app.store.records.blade_sets import set_for_kind
from app.store.records.gauges import load_register
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.records.session_cache import remember
from app.store.tables import (
    BatchPiece,
    BladeSet,
    BladeSetMember,
    Charge,
    ChecklistItem,
    Customer,
    FamilyBladeSet,
    Gauge,
    Job,
    Payment,
    Service,
    Shop,
    Work,
)

# Common practice, no source: the usual inch blades, read thick to thin at the bench.
USUAL_BLADES_IN = (0.034, 0.024, 0.010, 0.0015)
MORE_BLADES_IN = (0.050, 0.034, 0.024, 0.016, 0.010, 0.005, 0.0015)
# Saxophones, where the tip is wide; a blade that does not go in is left empty.
WIDE_BLADES_IN = (0.093, 0.078, 0.063, *MORE_BLADES_IN)


def start_book(session: Session) -> Shop:
    """Fill a new book with usual gauges, two blade sets and settings."""
    gauges = {key: _add_scale_gauge(session, key) for key in SCALES if not key.startswith("length")}
    blades = {inches: _add_blade(session, inches) for inches in WIDE_BLADES_IN}
    session.flush()
    usual = _add_blade_set(session, "four blades (0.034 to 0.0015 in)", USUAL_BLADES_IN, blades)
    _add_blade_set(session, "seven blades (0.050 to 0.0015 in)", MORE_BLADES_IN, blades)
    wide = _add_blade_set(session, "ten blades (0.093 to 0.0015 in)", WIDE_BLADES_IN, blades)
    session.add(FamilyBladeSet(family="saxophones", blade_set_id=wide.id))
    return keep(
        session,
        Shop(
            id=1,
            name="The workshop",
            terms=DEFAULT_TERMS,
            care_text=DEFAULT_CARE,
            glass_id=gauges["glass_half_mm"].id,
            wedge_id=gauges["tip_mm"].id,
            bore_gauge_id=gauges["bore_in"].id,
            blade_set_id=usual.id,
        ),
    )


_KIND_OF = {"glass": "glass", "tip": "wedge", "bore": "bore_gauge"}
_NAME_OF = {"glass": "Glass", "tip": "Tip wedge", "bore": "Bore gauge"}


def _add_scale_gauge(session: Session, key: str) -> Gauge:
    scale = SCALES[key]
    gauge = Gauge(
        kind=_KIND_OF[scale.measures],
        label=f"{_NAME_OF[scale.measures]}, {scale.label}",
        scale=key,
        resolution_mm=scale.step_mm,
    )
    session.add(gauge)
    return gauge


def _add_blade(session: Session, inches: float) -> Gauge:
    gap_mm = round(inches * 25.4, 6)
    gauge = Gauge(kind="blade", label=format_blade(gap_mm), nominal_mm=gap_mm)
    session.add(gauge)
    return gauge


def _add_blade_set(
    session: Session, name: str, inches: Sequence[float], blades: dict[float, Gauge]
) -> BladeSet:
    made = keep(session, BladeSet(name=name))
    session.add_all(
        BladeSetMember(blade_set_id=made.id, gauge_id=blades[inch].id, place=place)
        for place, inch in enumerate(inches)
    )
    return made


def get_shop(session: Session) -> Shop:
    """The shop's settings."""
    return remember(session, "shop", lambda: session.get_one(Shop, 1))


def get_mark(session: Session) -> str:
    """The shop's mark as SVG; empty if it has none."""
    return session.scalar(select(Shop.mark).where(Shop.id == 1)) or ""


def save_mark(session: Session, mark: str) -> None:
    """Keep the shop's mark, an SVG text; an empty one takes it off the papers to come."""
    session.execute(update(Shop).where(Shop.id == 1).values(mark=mark))


def save_papers_address(session: Session, address: str, now: datetime) -> None:
    """Keep the address that the codes on papers begin with."""
    changes = {"papers_address": address}
    change_record(session, get_shop(session), changes, seen_version=None, now=now)


def has_shop(session: Session) -> bool:
    """Say whether the book was started."""
    return session.get(Shop, 1) is not None


def awaits_first_choice(session: Session) -> bool:
    """Say whether the book is new: not begun, nobody in it, no setting changed."""
    shop = get_shop(session)
    if shop.begun_as or shop.version != 1:
        return False
    return session.scalar(select(Customer.id).limit(1)) is None


def begin_book(session: Session, how: str) -> None:
    """Note how the book was begun, a key of `BEGINNINGS`; it is never asked again."""
    if how not in BEGINNINGS:
        raise ValueError(f"a book is not begun as {how!r}")
    get_shop(session).begun_as = how
    session.flush()


def save_shop(session: Session, entry: ShopEntry, seen_version: int | None, now: datetime) -> Shop:
    """Change the settings; raises Conflict if they were changed meanwhile."""
    shop = get_shop(session)
    changes = {name: getattr(entry, name) for name in ShopEntry.__dataclass_fields__}
    change_record(session, shop, changes, seen_version=seen_version, now=now)
    return shop


def has_amounts(session: Session) -> bool:
    """Say whether any amount of money is written in the book."""
    named = (Job.declared_value_minor, Job.agreed_price_minor, Job.deposit_minor)
    asked = (
        select(Job.id).where(or_(*(column.is_not(None) for column in named))),
        select(Charge.id),
        select(BatchPiece.piece_id).where(BatchPiece.price_minor.is_not(None)),
        select(Payment.id),
        select(Work.id).where(Work.price_minor.is_not(None)),
        select(Service.id),
    )
    return any(session.scalar(query.limit(1)) is not None for query in asked)


def list_gauges(session: Session, kind: str) -> list[Gauge]:
    """List the gauges of one kind that are in use."""
    return list(
        session.scalars(
            select(Gauge).where(Gauge.kind == kind, Gauge.retired.is_(False)).order_by(Gauge.id)
        )
    )


def list_blade_sets(session: Session) -> list[BladeSet]:
    """List the blade sets with their blades."""
    return list(
        session.scalars(
            select(BladeSet)
            .options(selectinload(BladeSet.members).joinedload(BladeSetMember.gauge))
            .order_by(BladeSet.id)
        )
    )


def gauges_in_use(
    session: Session,
    blade_set_id: int | None = None,
    *,
    instrument_kind: str = "",
    and_blades: Collection[int] = (),
    as_read: SetSizes | None = None,
    line: str = "",
) -> GaugesInUse:
    """The blades (thick to thin) and scales with which a set is read now.

    Without a set asked for it is the one of the instrument's family, else the shop's usual one.
    `and_blades` are shown too: those of readings taken before the set was changed. `as_read` are
    the gauges of a kept set: to correct it, its own glass, wedge and bore gauge are read again.
    A notebook `line` with another number of stops chooses the one set that has so many blades.
    """
    shop = get_shop(session)
    chosen = shop.blade_set_id
    members = remember(session, "members", lambda: _members(session))
    if blade_set_id in members:
        chosen = blade_set_id
    elif instrument_kind:
        chosen = set_for_kind(session, instrument_kind) or chosen
    stops = count_stops(line) if line and not and_blades else 0
    # one more without a slash is taken for the tip
    as_it_is = len(members.get(chosen, ()))
    if stops and stops not in {as_it_is, as_it_is + ("/" not in line)}:
        fitting = [key for key, blades_of in members.items() if len(blades_of) == stops]
        chosen = fitting[0] if len(fitting) == 1 else chosen
    register = load_register(session)
    wanted = {*members.get(chosen, ()), *and_blades}
    blades = sorted(
        (
            Blade(gauge.id, gauge.nominal_mm or 0.0, gauge.label)
            for gauge in register.values()
            if gauge.kind == "blade" and gauge.id in wanted
        ),
        key=lambda blade: -blade.gap_mm,
    )
    glass, wedge, bore = (
        register[getattr(as_read, name, None) or getattr(shop, name)]
        for name in ("glass_id", "wedge_id", "bore_gauge_id")
    )
    return GaugesInUse(
        blades=tuple(blades),
        glass=SCALES[glass.scale or "glass_half_mm"],
        tip=SCALES[wedge.scale or "tip_mm"],
        bore=SCALES[bore.scale or "bore_in"],
        glass_id=glass.id,
        wedge_id=wedge.id,
        bore_gauge_id=bore.id,
        blade_set_id=chosen,
        thin_first=shop.blade_order != "thick_first",
        rails_seen=shop.rails_seen,
    )


def _members(session: Session) -> dict[int, set[int]]:
    """The blades of every set."""
    members: dict[int, set[int]] = defaultdict(set)
    for member in session.scalars(select(BladeSetMember)):
        members[member.blade_set_id].add(member.gauge_id)
    return members


def list_checklist(session: Session, kind: str) -> list[str]:
    """List the lines of one checklist: the usual ones, then the shop's own."""
    own = session.scalars(
        select(ChecklistItem.label)
        .where(ChecklistItem.kind == kind)
        .order_by(ChecklistItem.place, ChecklistItem.id)
    )
    usual = TICK_KINDS[kind].usual if kind in TICK_KINDS else ()
    return list({label.casefold(): label for label in (*usual, *own)}.values())


def extend_checklists(session: Session, ticks: Ticks) -> None:
    """Add lines that were ticked for the first time, so that the next job offers them."""
    for kind in {kind for kind, _ in ticks}:
        known = list_checklist(session, kind)
        folded = {label.casefold() for label in known}
        for label in (label for of_kind, label in ticks if of_kind == kind):
            if label.casefold() not in folded:
                session.add(ChecklistItem(kind=kind, label=label, place=len(folded)))
                folded.add(label.casefold())
    session.flush()
