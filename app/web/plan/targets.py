"""A job's target: one of the library, what the piece had before, another piece's, or a new one."""

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.curves import CURVES
from app.core.facing.measurements import ROLES, GaugesInUse, facing_of
from app.core.facing.suspects import say_again
from app.core.plan.facings import SHAPES
from app.core.plan.targets import (
    FacingEntry,
    even_up_entries,
    parse_facing,
    tell_target,
)
from app.core.values.forms import Refused, as_number, format_date
from app.core.values.pieces import name_piece
from app.store.records.facings import (
    KeptFacing,
    add_facing,
    choose_facing,
    find_facing,
    get_facing,
    list_facings,
)
from app.store.records.measurements import (
    Measurement,
    get_measurement,
    last_facing,
    list_measurements,
    standing,
)
from app.store.records.pieces import get_piece
from app.store.records.search import find_pieces
from app.store.records.shop import get_shop
from app.store.tables import Job
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    job_or_404,
    refuse_twice,
    show_page,
)
from app.web.plan.facings import tell_facings
from app.web.plan.planning import choose_gauges, gauges_for, last_read, name_copy

router = APIRouter(prefix="/jobs/{number}/target")
MOST_SETS = 6


@dataclass(frozen=True, slots=True)
class SetOffer:
    """A reading set that could be aimed at: its line, and where it comes from in words."""

    key: str
    line: str
    words: str


@router.get("")
def edit(request: Request, session: ReadOnly, number: int, find: str = "") -> HTMLResponse:
    """Show what the job could aim at."""
    job = job_or_404(session, number)
    values = {"find": find[:200]}
    if job.facing_id:
        values["target"] = f"facing-{job.facing_id}"
    return _page(request, session, job, Form(values=values))


def _page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    gauges, shop = gauges_for(session, job.piece.instrument_kind), get_shop(session)
    library = list_facings(session, job.piece.instrument_kind)
    now = get_facing(session, job.facing_id)
    own = [now] if now and now.id not in {facing.id for facing in library} else []
    last = last_read(job)
    return show_page(
        request,
        "targets/edit.html",
        form=form,
        job=job,
        own=tell_facings(own, gauges),
        library=tell_facings(library, gauges),
        own_sets=_own_sets(session, job, gauges),
        other_sets=_other_sets(session, job, gauges, form.get("find")),
        evened=_evened_line(last, gauges) if last else "",
        last=last,
        gauges=gauges,
        shop=shop,
        curves=[(key, CURVES[key].label) for key in SHAPES],
    )


def _own_sets(session: Session, job: Job, gauges: GaugesInUse) -> list[SetOffer]:
    """List what this piece read before: as returned first, newest first."""
    sets = [
        kept
        for kept in standing(list_measurements(session, job.piece_id))
        if kept.facing.left or kept.facing.right
    ]
    sets.sort(key=lambda kept: (kept.role == "as_returned", kept.taken_on, kept.id), reverse=True)
    return [
        SetOffer(
            f"set-{kept.id}",
            tell_target(kept.recorded, gauges),
            f"{ROLES[kept.role]} {format_date(kept.taken_on)}"
            + (f", job {kept.job_number}" if kept.job_number else "")
            + _say_left_out(kept),
        )
        for kept in sets[:MOST_SETS]
    ]


def _other_sets(session: Session, job: Job, gauges: GaugesInUse, find: str) -> list[SetOffer]:
    """List the last facings of other pieces found by any part of their names."""
    offers = []
    for piece in find_pieces(session, find, most=12):
        last = last_facing(list_measurements(session, piece.id))
        if piece.id == job.piece_id or last is None or not (last.facing.left or last.facing.right):
            continue
        name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
        offers.append(
            SetOffer(
                f"set-{last.id}",
                tell_target(last.recorded, gauges),
                f"{name}, {piece.owner.name}, {ROLES[last.role]} {format_date(last.taken_on)}"
                + _say_left_out(last),
            )
        )
    return offers


def _say_left_out(kept: Measurement) -> str:
    return f"; without {say_again(kept.suspects)}, to be read again" if kept.suspects else ""


def _evened_line(last: Measurement, gauges: GaugesInUse) -> str:
    if not (last.facing.left and last.facing.right):
        return ""
    evened = facing_of(even_up_entries(last.trusted_readings))
    return tell_target(replace(evened, unread_mm=last.facing.unread_mm), gauges)


@router.post("")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Give the job its target; one that is not in the library is kept for this job only."""
    job = job_or_404(session, number)
    # Enter in the field looks for a piece too, as long as nothing is chosen
    if form.get("do") == "find" or (form.get("find").strip() and not form.get("target")):
        return _page(request, session, job, form)
    refuse_twice(session, form)
    location = f"/jobs/{number}/plan?said=target"
    today, now = settings.today(), settings.now()
    key, _, text = form.get("target").partition("-")
    chosen = as_number(text)
    if key == "none":
        choose_facing(session, job, None, "No target.", today, now)
        location = f"/jobs/{number}"
    elif key == "facing":
        facing = found_or_404(find_facing(session, chosen or 0), "There is no such facing.")
        kept = found_or_404(get_facing(session, facing.id), "There is no such facing.")
        choose_facing(session, job, facing, _say_target(session, kept), today, now)
    else:
        entry = _parse(session, job, form, settings, key, chosen)
        if form.is_refused(entry):
            return _page(request, session, job, form)
        facing = add_facing(session, entry, now, in_library=False)
        kept = found_or_404(get_facing(session, facing.id), "There is no such facing.")
        choose_facing(session, job, facing, _say_target(session, kept), today, now)
    return commit_once(session, form, location, now)


def _say_target(session: Session, facing: KeptFacing) -> str:
    line = tell_target(facing.target, gauges_for(session, facing.instrument_kind))
    return f"Target: {facing.name}: {line}" if line not in facing.name else f"Target: {line}"


def _parse(
    session: Session, job: Job, form: Form, settings: SettingsDep, key: str, chosen: int | None
) -> FacingEntry | Refused:
    """Make the new target that was chosen: from readings, evened up, or typed."""
    kind = job.piece.instrument_kind
    gauges = choose_gauges(session, form.get("blade_set"), "", kind, form.get("line"))
    raw: dict[str, str] = {**form.values, "instrument_kind": kind}
    if key in {"line", "plain"}:
        raw |= {"told_by": "readings" if key == "line" else "plain", "name": f"Job {job.number}"}
        return parse_facing(raw, gauges, settings.today())
    source = last_read(job) if key == "even" else get_measurement(session, chosen or 0)
    if key not in {"even", "set"} or source is None:
        return Refused({"target": "Choose what to aim at."})
    raw |= {"told_by": "copy", "name": _name_source(session, job, key, source)}
    entry = parse_facing(raw, gauges, settings.today(), source.trusted_readings, source.id)
    if key == "even" and isinstance(entry, FacingEntry):
        evened = even_up_entries(source.trusted_readings)
        return replace(entry, told_by="readings", readings=evened, source_set_id=None)
    return entry


def _name_source(session: Session, job: Job, key: str, source: Measurement) -> str:
    if key == "even":
        return f"Job {job.number}, rails evened up"
    if source.piece_id == job.piece_id:
        return f"As it was {ROLES[source.role]} on {format_date(source.taken_on)}"
    return name_copy(get_piece(session, source.piece_id), source)
