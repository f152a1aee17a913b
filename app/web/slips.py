"""Papers: a preview, then issued once and kept as printed; a reprint shows just that."""

from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.cards import CardReadings, build_measured_part, say_done
from app.core.customers import INSTRUMENT_KINDS
from app.core.forms import format_date, format_money
from app.core.jobs import RETURN_WAYS
from app.core.measurements import write_line
from app.core.pieces import MATERIAL_CAUTIONS, MATERIALS, name_piece
from app.core.readings import Uncertainties
from app.core.slips import SLIP_KINDS, SlipKind
from app.render.profile import ProfilePicture, draw_profile
from app.render.slips import SHEET, print_slip
from app.store.jobs import get_job, move_job
from app.store.measurements import Measurement, measurements_of_job, standing
from app.store.passes import as_entry
from app.store.shop import gauges_in_use, get_shop
from app.store.slips import get_slip, issue_slip, next_slip_number
from app.store.tables import Job, Shop, Slip
from app.web.files import folder_of
from app.web.pages import (
    Clock,
    Reading,
    Typed,
    Writing,
    found_or_404,
    go_to,
    note_taken,
    show_page,
    taken_before,
)
from app.web.pictures import answer_picture, compare_picture
from app.web.settings import Settings

router = APIRouter()


def _job(session: Session, number: int) -> Job:
    return found_or_404(get_job(session, number), "There is no job of that number in this book.")


def _kind(kind: str) -> SlipKind:
    return found_or_404(SLIP_KINDS.get(kind), "There is no such paper.")


@router.get("/jobs/{number}/papers/{kind}")
def new(request: Request, session: Reading, clock: Clock, number: int, kind: str) -> HTMLResponse:
    """Show how a paper would print now."""
    job, slip_kind = _job(session, number), _kind(kind)
    printed = _printed(session, job, slip_kind, clock)
    printed["picture"] = f"/jobs/{number}/papers/{kind}/picture.svg"
    shop = get_shop(session)
    return show_page(
        request,
        "slips/new.html",
        job=job,
        kind=slip_kind,
        paper=shop.paper,
        sheet=SHEET,
        missing=_missing(job, slip_kind),
        html=print_slip(folder_of("templates"), slip_kind.template, printed),
    )


@router.get("/jobs/{number}/papers/{kind}/picture.svg")
def new_picture(request: Request, session: Reading, number: int, kind: str) -> Response:
    """Draw the picture that a paper would carry now."""
    _kind(kind)
    picture = _picture(session, _job(session, number))
    return answer_picture(request, picture, lambda: draw_profile(picture))


@router.post("/jobs/{number}/papers/{kind}")
def create(session: Writing, form: Typed, clock: Clock, number: int, kind: str) -> Response:
    """Issue a paper: number it and keep it as printed."""
    job, slip_kind = _job(session, number), _kind(kind)
    if answer := taken_before(session, form):
        return answer
    slip = issue_paper(session, job, slip_kind, clock)
    location = f"/papers/{slip.number}?said=issued"
    note_taken(session, form, location, clock.now())
    session.commit()
    return go_to(location)


def issue_paper(session: Session, job: Job, slip_kind: SlipKind, clock: Settings) -> Slip:
    """Keep a paper as it prints now; the return card makes a play-tested job ready."""
    printed = _printed(session, job, slip_kind, clock)
    slip_number = next_slip_number(session)
    printed["slip_number"] = slip_number
    picture = None
    if slip_kind.key == "return_card":
        picture = draw_profile(_picture(session, job))
        printed["picture"] = f"/papers/{slip_number}/picture.svg"
    slip = issue_slip(
        session,
        job,
        slip_kind.key,
        slip_kind.label,
        paper=get_shop(session).paper,
        printed=printed,
        html=print_slip(folder_of("templates"), slip_kind.template, printed),
        picture=picture,
        today=clock.today(),
        now=clock.now(),
    )
    if slip_kind.key == "return_card" and job.stage == "play_test":
        move_job(session, job, "ready", clock.today(), clock.now())
    return slip


@router.get("/papers/{slip_number}")
def show(request: Request, session: Reading, slip_number: int) -> HTMLResponse:
    """Show an issued paper as it was printed."""
    slip = found_or_404(get_slip(session, slip_number), "There is no paper of that number.")
    return show_page(
        request,
        "slips/show.html",
        slip=slip,
        kind=_kind(slip.kind),
        job_number=slip.printed["job_number"],
        sheet=slip.printed["sheet"],
    )


@router.get("/papers/{slip_number}/picture.svg")
def show_picture(request: Request, session: Reading, slip_number: int) -> Response:
    """Give the picture an issued paper was printed with."""
    slip = found_or_404(get_slip(session, slip_number), "There is no paper of that number.")
    picture = found_or_404(slip.picture, "That paper has no picture.")
    return answer_picture(request, picture, lambda: picture)


def _missing(job: Job, kind: SlipKind) -> str:
    if kind.key != "return_card":
        return ""
    before, after = _before_after(job)
    if after is None:
        return "There are no readings as returned yet; the card would only show what came in."
    return "" if before else "There are no readings as received; the card can't show a change."


def _before_after(job: Job) -> tuple[Measurement | None, Measurement | None]:
    sets = measurements_of_job(job)
    before, after = standing(sets, "as_received"), standing(sets, "as_returned")
    return before[-1] if before else None, after[-1] if after else None


def _picture(session: Session, job: Job) -> ProfilePicture:
    before, after = _before_after(job)
    return compare_picture(
        before.facing if before else None,
        after.facing if after else None,
        gauges_in_use(session),
        get_shop(session).paper,
    )


def _printed(session: Session, job: Job, kind: SlipKind, clock: Clock) -> dict[str, Any]:
    shop = get_shop(session)
    printed = _common(job, shop, clock)
    if kind.key == "return_card":
        printed |= _return_part(session, job, shop)
    else:
        printed |= _intake_part(job, shop)
    return printed


def _common(job: Job, shop: Shop, clock: Clock) -> dict[str, Any]:
    piece, horn = job.piece, job.instrument
    played_on = ""
    if horn:
        played_on = f"{INSTRUMENT_KINDS[horn.kind]} {horn.maker} {horn.model}".strip()
    return {
        "sheet": SHEET,
        "slip_number": None,
        "picture": "",
        "shop": {
            "name": shop.name,
            "address": shop.address.splitlines(),
            "reach": [one for one in (shop.phone, shop.email) if one],
        },
        "issued_on": format_date(clock.today()),
        "job_number": job.number,
        "customer": job.customer.name,
        "customer_lines": [
            one for one in (*job.customer.address.splitlines(), job.customer.phone) if one
        ],
        "piece": name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks),
        "piece_marks": piece.telling_marks,
        "piece_kind": f"{INSTRUMENT_KINDS[piece.instrument_kind]}, {MATERIALS[piece.material]}",
        "played_on": played_on,
        "dropped_off": format_date(job.dropped_off),
        "request": job.request,
    }


def _intake_part(job: Job, shop: Shop) -> dict[str, Any]:
    def ticked(kind: str) -> str:
        return ", ".join(tick.label for tick in job.ticks if tick.kind == kind)

    return {
        "condition": ticked("condition"),
        "condition_notes": job.condition_notes,
        "came_with": ticked("came_with"),
        "declared_value": format_money(job.declared_value_minor, shop.currency),
        "wanted_by": format_date(job.wanted_by),
        "goes_home": RETURN_WAYS[job.return_by],
        "agreed_work": job.agreed_work,
        "price": format_money(job.agreed_price_minor, shop.currency),
        "deposit": format_money(job.deposit_minor, shop.currency),
        "terms": shop.terms,
    }


def _uncertainties(before: Measurement | None, after: Measurement | None) -> Uncertainties:
    """Give what holds for the whole card: every reading brings its own, so it hardly matters."""
    told = after or before
    return told.uncertainties if told else Uncertainties()


def _return_part(session: Session, job: Job, shop: Shop) -> dict[str, Any]:
    before, after = _before_after(job)
    gauges = gauges_in_use(session)
    measured = build_measured_part(
        CardReadings(
            before.facing if before else None,
            after.facing if after else None,
            before.bore_mm if before else None,
            after.bore_mm if after else None,
            before.bore_u_mm if before else None,
            after.bore_u_mm if after else None,
        ),
        gauges,
        _uncertainties(before, after),
        shop.evenness_tolerance_mm,
    )
    passes = [as_entry(one) for one in job.passes if one.struck_at is None]
    return {
        "measured": asdict(measured),
        "as_read": [
            f"{when} {write_line(one.recorded, gauges.glass, gauges.tip)}"
            for when, one in (("before", before), ("after", after))
            if one is not None and one.corrected.differs
        ],
        "done": say_done(job.agreed_work, passes),
        "care": shop.care_text,
        "caution": MATERIAL_CAUTIONS[job.piece.material],
        "taken": [
            format_date(before.taken_on) if before else "",
            format_date(after.taken_on) if after else "",
        ],
    }
