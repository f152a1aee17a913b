"""A piece's page: its last facing first, then everything that ever happened to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.compare.comparison import compare
from app.core.compare.comparison_words import (
    IT_HAS_CHANGED,
    IT_HAS_CHANGED_BESIDE,
    Finding,
    tell_comparison,
)
from app.core.compare.differences import shorten_set
from app.core.compare.effort_words import say_net_effort
from app.core.jobs.stages import STAGES
from app.core.values.customers import CustomerEntry, read_customer
from app.core.values.forms import Fields
from app.core.values.pieces import parse_piece
from app.core.values.works import say_all_done, say_carried, shortened_mm
from app.store.records.batches import find_batch_of
from app.store.records.customers import add_customer, get_customer
from app.store.records.joinings import list_joinings
from app.store.records.measurements import (
    Measurement,
    last_facing,
    list_measurements,
    standing,
)
from app.store.records.passes import standing_passes, standing_works
from app.store.records.pieces import (
    get_owned_piece,
    list_jobs_on,
    pass_on_piece,
    save_piece,
)
from app.store.records.revisions import list_revisions
from app.store.records.search import find_customers
from app.store.records.shop import gauges_in_use, get_shop
from app.store.records.slips import list_piece_slips
from app.store.tables import Event, Job, Ownership, Piece
from app.web.compare.comparisons import offer_choice
from app.web.facing.summaries import Summary, list_figures, summarise
from app.web.jobs.photos import album_photos
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    found_or_404,
    go_to,
    piece_or_404,
    show_page,
)

router = APIRouter(prefix="/pieces/{piece_id}")
NOT_HERE = "There is no such piece in this book."


@dataclass(frozen=True, slots=True)
class Chapter:
    """One thing that happened to a piece: a visit, a sale, or readings outside any job.

    `kind` is "visit", "sale" or "readings"; what does not belong to the kind is empty.
    """

    day: date
    kind: str
    sets: tuple[Summary, ...] = ()
    job: Job | None = None
    done: str = ""
    notes: tuple[Event, ...] = ()
    changed: str = ""
    effort: str = ""
    sale: Ownership | None = None


def tell_history(
    jobs: Sequence[Job], sets: Sequence[Summary], owners: Sequence[Ownership], kind: str
) -> list[Chapter]:
    """Tell what happened to a piece of a `kind`, newest first; the first owner is no sale."""
    chapters = [
        Chapter(
            job.dropped_off,
            "visit",
            sets=tuple(summary for summary in sets if summary.measurement.job_number == job.number),
            job=job,
            done=say_all_done(standing_passes(job), standing_works(job)),
            notes=tuple(event for event in job.events if event.kind == "note"),
            changed=changed,
            effort=effort,
        )
        for job in sorted(jobs, key=lambda job: job.number)
        for changed, effort in [_tell_change(job, sets, kind)]
    ]
    chapters += [Chapter(sale.since, "sale", sale=sale) for sale in owners[1:]]
    chapters += [
        Chapter(summary.measurement.taken_on, "readings", sets=(summary,))
        for summary in sets
        if summary.measurement.job_number is None
    ]
    # reversed after a stable sort, so that of one day the later record comes first
    return sorted(chapters, key=lambda chapter: chapter.day)[::-1]


def _tell_change(job: Job, sets: Sequence[Summary], kind: str) -> tuple[str, str]:
    """Say what changed between how the piece came in and how it left, and how it closes now."""
    own = [summary.measurement for summary in sets if summary.measurement.job_number == job.number]
    received, returned = standing(own, "as_received"), standing(own, "as_returned")
    if not (received and returned):
        return "", ""
    before, after = received[-1].read_set, returned[-1].read_set
    off_mm = shortened_mm(standing_works(job))
    leads = IT_HAS_CHANGED_BESIDE if off_mm else IT_HAS_CHANGED
    comparison = tell_comparison(compare(shorten_set(before, off_mm), after), leads)
    words = f"{say_carried(off_mm)} {comparison.words}" if off_mm else comparison.words
    moved = comparison.finding is Finding.MOVED
    effort = say_net_effort(before, after, kind, short=True) if moved else None
    return words, effort or ""


def find_before(last: Measurement, sets: Sequence[Measurement]) -> Measurement | None:
    """Find the facing a piece had before the job it has the last one from: as that job found it.

    Where the job did not read it as received, it is the facing that the piece had before the job;
    what was read between two passes is none.
    """
    facings = [read for read in standing(sets) if read.facing.has_rails and read.id != last.id]
    own = [read for read in facings if last.job_number and read.job_number == last.job_number]
    if received := standing(own, "as_received"):
        return received[-1]
    order = last.taken_on, last.id
    earlier = [
        read
        for read in facings
        if read not in own and read.role != "at_the_bench" and (read.taken_on, read.id) < order
    ]
    return earlier[-1] if earlier else None


@router.get("")
def show(request: Request, session: ReadOnly, piece_id: int) -> Response:
    """Show a piece; one that is part of another leads there."""
    piece = found_or_404(get_owned_piece(session, piece_id), NOT_HERE)
    if piece.joined_to_id:
        return go_to(f"/pieces/{piece.joined_to_id}")
    shop, gauges = get_shop(session), gauges_in_use(session)
    measurements = list_measurements(session, piece_id)
    last = last_facing(measurements)
    sets = [summarise(measurement, gauges, shop) for measurement in measurements]
    shown = next((summary for summary in sets if last and summary.measurement.id == last.id), None)
    jobs = list_jobs_on(session, piece_id)
    history = tell_history(jobs, sets, piece.ownerships, piece.instrument_kind)
    visits = (chapter for chapter in history if chapter.changed and shown in chapter.sets)
    return show_page(
        request,
        "pieces/show.html",
        piece=piece,
        gauges=gauges,
        choice=offer_choice(piece, sets),
        joinings=list_joinings(session, piece),
        made_in=find_batch_of(session, piece_id),
        last=shown,
        before=find_before(last, measurements) if last else None,
        visit=next(visits, None),
        figures=list_figures(shown, gauges) if shown else [],
        here=next((job for job in jobs if STAGES[job.stage].open), None),
        newest=sets[-1] if sets else None,
        history=history,
        revisions=list_revisions(session, "piece", piece_id),
        slips=list_piece_slips(session, piece_id),
        photos=album_photos(session, piece, None),
    )


@router.get("/edit")
def edit(request: Request, session: ReadOnly, piece_id: int) -> HTMLResponse:
    """Show a piece's fields to change."""
    piece = piece_or_404(session, piece_id)
    return _edit_page(request, piece, Form())


def _edit_page(request: Request, piece: Piece, form: Form) -> HTMLResponse:
    return show_page(request, "pieces/edit.html", form=form, piece=piece)


@router.post("/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, piece_id: int
) -> Response:
    """Change a piece."""
    piece = piece_or_404(session, piece_id)
    entry = parse_piece(form.values)
    if form.is_refused(entry):
        return _edit_page(request, piece, form)
    save_piece(session, piece, entry, form.seen_version, settings.now())
    session.commit()
    return go_to(f"/pieces/{piece_id}?said=kept")


@router.get("/owner")
def owner(request: Request, session: ReadOnly, piece_id: int, find: str = "") -> HTMLResponse:
    """Show the page on which a piece is passed on to another owner."""
    return _owner_page(request, session, piece_id, Form(values={"find": find[:200]}))


def _owner_page(request: Request, session: Session, piece_id: int, form: Form) -> HTMLResponse:
    piece = piece_or_404(session, piece_id)
    customers = find_customers(session, form.get("find"), most=12)
    return show_page(request, "pieces/owner.html", form=form, piece=piece, found=customers)


@router.post("/owner")
def update_owner(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, piece_id: int
) -> Response:
    """Note that a piece was sold on."""
    piece = piece_or_404(session, piece_id)
    fields = Fields(form.values)
    since = fields.past_day("since", settings.today(), "A change of owner")
    entry: CustomerEntry | int | None = None
    if form.get("owner") == "new":
        entry = read_customer(fields, "owner_")
    else:
        entry = fields.number_of("owner", needed="Choose the new owner, or write a new one down.")
        if entry is not None and get_customer(session, entry) is None:
            fields.refuse("owner", "That customer is not in the book.")
    if fields.problems or entry is None:
        form.refuse(fields)
        return _owner_page(request, session, piece_id, form)
    now = settings.now()
    new_owner = entry if isinstance(entry, int) else add_customer(session, entry, now).id
    pass_on_piece(session, piece, new_owner, since, form.seen_version, now)
    session.commit()
    return go_to(f"/pieces/{piece_id}?said=passed-on")
