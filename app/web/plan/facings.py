"""The facings library: the shop's targets, the numbers to reach, and a sheet for the bench."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.compare.effort_words import tell_ratio
from app.core.facing.analysis import MalformedReading
from app.core.facing.curves import CURVES
from app.core.facing.measurements import GaugesInUse
from app.core.plan.effort_map import rank_lays
from app.core.plan.facings import SHAPES, THINNEST_MM, PlainFacing, place_blades
from app.core.plan.targets import (
    TOLD_BY,
    FacingEntry,
    format_stop,
    list_target_rows,
    parse_facing,
    tell_target,
    tell_tolerance,
)
from app.core.values.forms import Refused, as_number
from app.core.values.units import SCALES, format_blade, format_mm, format_on_scale
from app.render.profile import ProfilePicture, draw_profile
from app.render.targets import target_lines
from app.store.records.batches import list_batches
from app.store.records.facings import (
    KeptFacing,
    add_facing,
    find_facing,
    get_facing,
    list_facings,
    list_jobs_aiming_at,
    list_set_aside,
    save_facing,
    set_in_library,
)
from app.store.records.measurements import Measurement, get_measurement
from app.store.records.pieces import get_piece
from app.store.records.revisions import list_revisions
from app.store.records.shop import gauges_in_use, get_shop, list_blade_sets
from app.store.tables import BladeSet
from app.web.drawn import answer_picture
from app.web.facing.pictures import blade_levels
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    go_to,
    refuse_twice,
    show_page,
)
from app.web.plan.planning import choose_gauges, gauges_for, uncertainties_of, usual_tolerance

router = APIRouter(prefix="/facings")
NOT_HERE = "There is no such facing in this book."


@dataclass(frozen=True, slots=True)
class FacingLine:
    """A facing as a line in a list."""

    facing: KeptFacing
    line: str
    tolerance: str
    effort: str = ""


def _order_by_effort(kind: str, lines: list[FacingLine]) -> list[FacingLine]:
    """Order a family's facings by how hard a reed closes on them; those without a tip last."""
    targets = [line.facing.target for line in lines]
    ranked = rank_lays(targets, kind, uncertainties_of(None), THINNEST_MM)
    ordered = [lines[at] for at, _ in ranked[:1]]
    for at, ratio in ranked[1:]:
        effort = f"a reed closes {tell_ratio(ratio)} than on {ordered[0].facing.name}"
        ordered.append(replace(lines[at], effort=effort))
    seen = {at for at, _ in ranked}
    return ordered + [line for at, line in enumerate(lines) if at not in seen]


def tell_facings(facings: Sequence[KeptFacing], gauges: GaugesInUse) -> list[FacingLine]:
    """Write facings as lines of a list."""
    return [
        FacingLine(
            facing,
            tell_target(facing.target, gauges),
            tell_tolerance(facing.tolerance, gauges.glass),
        )
        for facing in facings
    ]


def _facing(session: Session, facing_id: int) -> KeptFacing:
    return found_or_404(get_facing(session, facing_id), NOT_HERE)


@router.get("")
def index(request: Request, session: ReadOnly) -> HTMLResponse:
    """List the library, instrument by instrument, and what was put aside."""
    gauges = gauges_in_use(session)
    kinds: dict[str, list[FacingLine]] = {}
    for line in tell_facings(list_facings(session), gauges):
        kinds.setdefault(line.facing.instrument_kind, []).append(line)
    for kind, lines in kinds.items():
        kinds[kind] = _order_by_effort(kind, lines)
    return show_page(
        request,
        "facings/index.html",
        kinds=kinds,
        aside=tell_facings(list_set_aside(session), gauges),
        gauges=gauges,
    )


@router.get("/new")
def new(request: Request, session: ReadOnly, from_set: str = "") -> HTMLResponse:
    """Show an empty facing, or one that copies a reading set."""
    source = _source(session, from_set)
    values = {"from_set": from_set, "told_by": "copy"} if source else {}
    if source:
        piece = get_piece(session, source.piece_id)
        values["instrument_kind"] = piece.instrument_kind if piece else ""
    return _edit_page(request, session, Form(values=values), None)


def _source(session: Session, text: str) -> Measurement | None:
    return get_measurement(session, number) if (number := as_number(text)) else None


def _edit_page(
    request: Request, session: Session, form: Form, facing: KeptFacing | None
) -> HTMLResponse:
    shop, blade_sets = get_shop(session), list_blade_sets(session)
    gauges = choose_gauges(
        session,
        form.get("blade_set") or _own_blade_set(facing, blade_sets),
        "",
        facing.instrument_kind if facing else "",
    )
    source = _source(session, form.get("from_set"))
    kept = facing.tolerance if facing else usual_tolerance(shop)
    return show_page(
        request,
        "facings/edit.html",
        form=form,
        facing=facing,
        typed=_as_typed(facing, gauges) if facing else {},
        kept=kept,
        source=source,
        source_line=tell_target(source.facing, gauges) if source else "",
        gauges=gauges,
        blade_sets=blade_sets,
        curves=[(key, CURVES[key].label) for key in SHAPES],
        third_blades=[(blade.gauge_id, blade.label) for blade in gauges.blades[:-1]],
        bendable=[CURVES[key].label for key, shape in SHAPES.items() if shape.label],
        told_by=TOLD_BY,
    )


def _own_blade_set(facing: KeptFacing | None, blade_sets: Sequence[BladeSet]) -> str:
    """The smallest blade set that has all of a facing's blades; empty if there is none."""
    readings = facing.readings if facing else ()
    read = {entry.gauge_id for entry in readings if entry.quantity == "blade"}
    fitting = [kept for kept in blade_sets if read <= {member.gauge_id for member in kept.members}]
    smallest = min(fitting, key=lambda kept: len(kept.members), default=None)
    return str(smallest.id) if read and smallest else ""


def _as_typed(facing: KeptFacing, gauges: GaugesInUse) -> dict[str, str]:
    """A facing's numbers as they were typed, for the page's fields."""
    typed = {entry.quantity: entry.typed for entry in facing.readings if entry.quantity != "blade"}
    plain = facing.told_by == "plain"
    third = {}
    if isinstance(facing.target, PlainFacing) and facing.shape is not None:
        blade = gauges.blades[len(gauges.blades) // 2]
        (placed,) = place_blades(facing.target, [blade.gap_mm])
        stop = "" if placed.left_mm is None else format_on_scale(placed.left_mm, gauges.glass)
        third = {"third_blade": str(blade.gauge_id), "third_stop": stop}
    return third | {
        "line": "" if plain else tell_target(facing.target, gauges),
        "length": typed.get("length", ""),
        "tip_opening": typed.get("tip", "") if plain else "",
    }


@router.post("")
def create(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Keep a new facing."""
    refuse_twice(session, form)
    entry = _parse(session, form, settings)
    if form.is_refused(entry):
        return _edit_page(request, session, form, None)
    kept = add_facing(session, entry, settings.now())
    return commit_once(session, form, f"/facings/{kept.id}?said=new", settings.now())


def _parse(session: Session, form: Form, settings: SettingsDep) -> FacingEntry | Refused:
    source = _source(session, form.get("from_set"))
    return parse_facing(
        form.values,
        choose_gauges(session, form.get("blade_set"), "", line=form.get("line")),
        settings.today(),
        source.readings if source else (),
        source.id if source else None,
    )


@router.get("/{facing_id}")
def show(
    request: Request, session: ReadOnly, facing_id: int, blade_set: str = "", glass: str = ""
) -> HTMLResponse:
    """Show a facing: its numbers for any blade set and glass, its picture, who aims at it."""
    facing = _facing(session, facing_id)
    return show_page(
        request,
        "facings/show.html",
        facing=facing,
        source=get_measurement(session, facing.source_set_id) if facing.source_set_id else None,
        jobs=list_jobs_aiming_at(session, facing_id),
        batches=list_batches(session, facing_id),
        revisions=list_revisions(session, "facing", facing_id),
        **gather_facing(session, facing, blade_set, glass),
    )


def gather_facing(
    session: Session, facing: KeptFacing, blade_set: str, glass: str
) -> dict[str, Any]:
    """Gather what page and sheet say: the numbers at which each blade should stop."""
    gauges = choose_gauges(session, blade_set, glass, facing.instrument_kind)
    return {
        "gauges": gauges,
        "line": tell_target(facing.target, gauges),
        "rows": list_target_rows(facing.target, facing.tolerance, gauges),
        "tip_mm": facing.target.tip_opening_mm,
        "tolerance": tell_tolerance(facing.tolerance, gauges.glass),
        "blade_sets": list_blade_sets(session),
        "glasses": [scale for scale in SCALES.values() if scale.measures == "glass"],
        "curve": CURVES[facing.curve].label if facing.curve else "",
        "length": _tell_length(facing, gauges),
    }


def _tell_length(facing: KeptFacing, gauges: GaugesInUse) -> str:
    target = facing.target
    if not isinstance(target, PlainFacing):
        return ""
    number = format_stop(target.facing_length_mm, gauges.glass)
    return (
        f"{number} ({format_mm(target.facing_length_mm, 1)} mm) with the "
        f"{format_blade(target.length_gap_mm)} blade"
    )


@router.get("/{facing_id}/profile.svg")
def profile(
    request: Request,
    session: ReadOnly,
    facing_id: int,
    blade_set: str = "",
    glass: str = "",
    size: str = "screen",
) -> Response:
    """Draw a facing, with the levels of any blade set and the numbers of any glass."""
    facing = _facing(session, facing_id)
    gauges = choose_gauges(session, blade_set, glass, facing.instrument_kind)
    try:
        lines = target_lines(facing.target, "target", uncertainties_of(None))
    except MalformedReading:
        lines = ()
    picture = ProfilePicture(
        lines=lines,
        blades=blade_levels(gauges),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size="small" if size == "small" else "screen",
    )
    return answer_picture(request, picture, lambda: draw_profile(picture))


@router.get("/{facing_id}/edit")
def edit(request: Request, session: ReadOnly, facing_id: int) -> HTMLResponse:
    """Show a facing's fields to change."""
    facing = _facing(session, facing_id)
    values = {"from_set": str(facing.source_set_id)} if facing.source_set_id else {}
    return _edit_page(request, session, Form(values=values), facing)


@router.post("/{facing_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, facing_id: int
) -> Response:
    """Change a facing; what it said before is kept."""
    kept = found_or_404(find_facing(session, facing_id), NOT_HERE)
    before = _facing(session, facing_id)
    entry = _parse(session, form, settings)
    if form.is_refused(entry):
        return _edit_page(request, session, form, before)
    gauges = gauges_for(session, before.instrument_kind)
    lines = tell_target(before.target, gauges), tell_target(entry.target, gauges)
    save_facing(session, kept, entry, form.seen_version, settings.now(), lines)
    session.commit()
    return go_to(f"/facings/{facing_id}?said=kept")


@router.post("/{facing_id}/place")
def place(session: Writing, form: Typed, settings: SettingsDep, facing_id: int) -> Response:
    """Put a facing aside, or into the library; nothing that aims at it changes."""
    kept = found_or_404(find_facing(session, facing_id), NOT_HERE)
    set_in_library(session, kept, form.get("do") == "keep", settings.now())
    session.commit()
    return go_to(f"/facings/{facing_id}?said={'back' if kept.in_library else 'aside'}")
