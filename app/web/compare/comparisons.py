"""Any two reading sets side by side, of one piece or of two, and the way to choose them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.compare import effort_words
from app.core.compare.comparison import Change, Comparison, compare
from app.core.compare.comparison_rows import ONE_PIECE, TWO_PIECES, Side, list_evenness, list_rows
from app.core.compare.comparison_words import (
    IT_HAS_CHANGED,
    IT_HAS_CHANGED_BESIDE,
    THEY_DIFFER,
    say_joint,
    say_tables,
    tell_comparison,
)
from app.core.compare.differences import ReadSet, shorten_set
from app.core.compare.effort import compare_efforts
from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import ROLES, GaugesInUse, write_line
from app.core.facing.wording import rails_of, say_evenness
from app.core.jobs.stages import STAGES
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import RemovalPlan
from app.core.values.forms import as_number, format_date
from app.core.values.readings import FacingReadings
from app.core.values.uncertainty import expanded
from app.core.values.works import say_carried
from app.render.difference import draw_difference
from app.render.profile import draw_profile
from app.store.records.measurements import Measurement, get_measurement, list_measurements, standing
from app.store.records.passes import shortened_between
from app.store.records.pieces import get_piece, list_jobs_on
from app.store.records.search import find_jobs, find_pieces
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Job, Piece
from app.web.drawn import answer_picture
from app.web.facing.pictures import DrawnSize, difference_picture, side_by_side_picture
from app.web.facing.summaries import Summary
from app.web.pages import ReadOnly, found_or_404, go_to, piece_or_404, show_page
from app.web.plan.planning import make_request, usual_tolerance

router = APIRouter(prefix="/comparisons")
NOT_HERE = "There are no such readings in this book."
TICK_TWO = "Tick two sets of readings to compare them."
MOST_PIECES = 12


@dataclass(frozen=True, slots=True)
class Compared:
    """One of the two sets with its piece, as the page shows it."""

    measurement: Measurement
    piece: Piece
    line: str

    @property
    def facing(self) -> FacingReadings:
        """The facing to be judged: by what the gauges were on its day."""
        return self.measurement.facing


@dataclass(frozen=True, slots=True)
class Choice:
    """A piece whose sets may be chosen, newest first, each with its line."""

    piece: Piece
    sets: tuple[tuple[Measurement, str], ...]


def _compared(session: Session, text: str) -> Compared:
    number = as_number(text)
    measurement = found_or_404(
        get_measurement(session, number) if number is not None else None, NOT_HERE
    )
    piece = piece_or_404(session, measurement.piece_id)
    gauges = gauges_in_use(session, measurement.blade_set_id)
    return Compared(measurement, piece, _line(measurement, gauges))


def _line(measurement: Measurement, gauges: GaugesInUse) -> str:
    return write_line(measurement.recorded, gauges) or "other lengths"


@router.get("")
def show(request: Request, session: ReadOnly) -> Response:
    """Compare two sets; with one, or with two ticked in a list, lead there."""
    asked = request.query_params
    if asked.get("before") and asked.get("after"):
        return _show_both(request, session, asked["before"], asked["after"])
    ticked = [text for text in asked.getlist("set") if text]
    if len(ticked) == 2:
        chosen = [_compared(session, text) for text in ticked]
        return go_to(pair_address(*_in_order(chosen[0].measurement, chosen[1].measurement)))
    of = asked.get("of") or asked.get("before") or asked.get("after") or ""
    if of:
        return _choose(request, session, of)
    if asked.get("piece"):
        return _tick_again(request, session, asked["piece"], ticked)
    raise HTTPException(404, "Choose two sets of readings on a piece’s page.")


def _in_order(first: Measurement, second: Measurement) -> tuple[Measurement, Measurement]:
    """Put the earlier one first."""
    swapped = (second.taken_on, second.id) < (first.taken_on, first.id)
    return (second, first) if swapped else (first, second)


def pair_address(before: Measurement, after: Measurement) -> str:
    """The address at which two sets are compared."""
    return f"/comparisons?before={before.id}&after={after.id}"


def _show_both(request: Request, session: Session, before: str, after: str) -> HTMLResponse:
    sides = _compared(session, before), _compared(session, after)
    tolerance_mm = get_shop(session).evenness_tolerance_mm
    one_piece = sides[0].piece.id == sides[1].piece.id
    sets, off_mm = _read_sets(session, sides)
    compared = compare(*sets, evenness_tolerance_mm=tolerance_mm)
    leads = IT_HAS_CHANGED if one_piece else THEY_DIFFER
    if off_mm:
        leads = IT_HAS_CHANGED_BESIDE
    gauges = gauges_in_use(session, sides[1].measurement.blade_set_id)
    groups = list_rows(compared, sets, gauges)
    headings = ("Before: ", "After: ") if one_piece else ("The first: ", "The second: ")
    return show_page(
        request,
        "comparisons/show.html",
        sides=sides,
        side=ONE_PIECE if one_piece else TWO_PIECES,
        one_piece=one_piece,
        lead=_lead(sides),
        told=tell_comparison(compared, leads),
        gauges=gauges,
        groups=groups,
        changes=[row for rows in groups.values() for row in rows if row.changed],
        joint=say_joint(compared.joint),
        tables=list(say_tables(sets, headings)),
        carried=say_carried(off_mm) if off_mm else "",
        laying_mm=[expanded(read_set.laying_u_mm) for read_set in sets],
        evenness=list_evenness(compared),
        rails=[say_evenness(rails_of(analysis)) for analysis in (compared.before, compared.after)],
        effort=_effort(sides) if compared.moved else "",
        swapped=pair_address(sides[1].measurement, sides[0].measurement),
        twin=None if one_piece else _make_alike(session, sides, compared),
        query_part=f"before={sides[0].measurement.id}&after={sides[1].measurement.id}",
        drawn=any(side.facing.has_rails for side in sides),
        tolerance_mm=tolerance_mm,
    )


@dataclass(frozen=True, slots=True)
class Twin:
    """What making the second piece like the first would take; `refusal` where it can't be told."""

    plan: RemovalPlan | None
    refusal: str
    wider_bore: Change | None
    job: Job | None


def _make_alike(session: Session, sides: tuple[Compared, Compared], compared: Comparison) -> Twin:
    """Say what rails and table would take, what can't be reached, and the job that could do it."""
    like, piece, now = sides[0].measurement.trusted, sides[1].piece, sides[1].measurement.trusted
    shop, plan, refusal = get_shop(session), None, ""
    if sides[0].piece.instrument_kind != piece.instrument_kind:
        refusal = "They are for different instruments."
    elif not (like.has_rails and now.has_rails):
        refusal = "Both must have their rails read."
    else:
        asked = make_request(like, usual_tolerance(shop), sides[1].measurement, piece, shop)
        try:
            plan = plan_removal(asked)
        except MalformedReading as error:
            refusal = str(error)
    bores = (bore for bore in compared.told if bore.quantity == "bore" and bore.difference > 0)
    jobs = (job for job in list_jobs_on(session, piece.id) if STAGES[job.stage].open)
    return Twin(plan, refusal, next(bores, None), next(jobs, None))


def _side(sides: tuple[Compared, Compared]) -> Side:
    return ONE_PIECE if sides[0].piece.id == sides[1].piece.id else TWO_PIECES


def _effort(sides: tuple[Compared, Compared]) -> str:
    """Say how hard the second closes beside the first; empty where that can't be worked out."""
    before, after = sides
    kind = before.piece.instrument_kind
    if before.measurement.id == after.measurement.id or after.piece.instrument_kind != kind:
        return ""
    try:
        effort = compare_efforts(before.measurement.read_set, after.measurement.read_set, kind)
    except MalformedReading:
        return ""
    one_piece = _side(sides) is ONE_PIECE
    speak = effort_words.ONE_PIECE if one_piece else effort_words.TWO_PIECES
    return effort_words.say_effort(effort, speak)


def _lead(sides: tuple[Compared, Compared]) -> str:
    """Say what the comparison answers, where the roles of the sets tell."""
    before, after = (side.measurement for side in sides)
    if before.id == after.id:
        return "These are the same readings twice."
    if _side(sides) is TWO_PIECES or (after.taken_on, after.id) < (before.taken_on, before.id):
        return ""
    away = {before.role, after.role} == {"as_returned", "as_received"}
    if away and before.role == "as_returned":
        return (
            f"It left on {format_date(before.taken_on)} and came in on "
            f"{format_date(after.taken_on)}: has it moved while it was away?"
        )
    if before.job_number and before.job_number == after.job_number:
        return f"What job {before.job_number} did to it."
    return ""


def _choose(request: Request, session: Session, text: str) -> HTMLResponse:
    """Show the chooser: other sets of this piece, and those of any piece that is looked up."""
    of = _compared(session, text)
    find = request.query_params.get("find", "")[:200]
    pieces = [] if not find.strip() else _find(session, find)
    return show_page(
        request,
        "comparisons/new.html",
        of=of,
        find=find,
        own=_list_choice(session, of.piece, of.measurement),
        found=[_list_choice(session, piece, of.measurement) for piece in pieces],
        address=lambda other: pair_address(*_in_order(of.measurement, other)),
    )


def _find(session: Session, find: str) -> list[Piece]:
    """Look pieces up by any part of them or of their owner, and by a job's number."""
    pieces = {piece.id: piece for piece in find_pieces(session, find, MOST_PIECES)}
    for job in find_jobs(session, find, MOST_PIECES):
        if job.piece_id not in pieces and (piece := get_piece(session, job.piece_id)):
            pieces[piece.id] = piece
    return list(pieces.values())[:MOST_PIECES]


def offer_choice(piece: Piece, sets: Sequence[Summary]) -> Choice:
    """List the sets of a piece to choose from, newest first."""
    current = [summary for summary in reversed(sets) if summary.measurement.replaced_by_id is None]
    return Choice(piece, tuple((summary.measurement, summary.line) for summary in current))


def _list_choice(session: Session, piece: Piece, but: Measurement | None = None) -> Choice:
    gauges = gauges_in_use(session)
    sets = [
        measurement
        for measurement in reversed(standing(list_measurements(session, piece.id)))
        if but is None or measurement.id != but.id
    ]
    return Choice(piece, tuple((measurement, _line(measurement, gauges)) for measurement in sets))


def _tick_again(
    request: Request, session: Session, piece_id: str, ticked: Sequence[str]
) -> HTMLResponse:
    number = as_number(piece_id)
    piece = found_or_404(
        get_piece(session, number) if number is not None else None, "There is no such piece."
    )
    return show_page(
        request,
        "comparisons/tick.html",
        status=422,
        choice=_list_choice(session, piece),
        ticked=set(ticked),
        words=TICK_TWO,
    )


def _drawn_sides(
    session: Session, before: str, after: str
) -> tuple[tuple[ReadSet, ReadSet], Side, GaugesInUse]:
    sides = _compared(session, before), _compared(session, after)
    gauges = gauges_in_use(session, sides[1].measurement.blade_set_id)
    return _read_sets(session, sides)[0], _side(sides), gauges


def _read_sets(
    session: Session, sides: tuple[Compared, Compared]
) -> tuple[tuple[ReadSet, ReadSet], float]:
    """Both sets as they are compared, and by how much the tip was shortened in between."""
    first, second = sides[0].measurement, sides[1].measurement
    off_mm = shortened_between(session, first, second)
    return (shorten_set(first.read_set, off_mm), second.read_set), off_mm


@router.get("/profile.svg")
def profile(
    request: Request, session: ReadOnly, before: str, after: str, size: DrawnSize
) -> Response:
    """Draw both facings in one picture."""
    sets, words, gauges = _drawn_sides(session, before, after)
    facings = sets[0].facing, sets[1].facing
    picture = side_by_side_picture(facings, (words.first, words.second), gauges, size)
    return answer_picture(request, picture, lambda: draw_profile(picture))


@router.get("/difference.svg")
def difference(
    request: Request, session: ReadOnly, before: str, after: str, size: DrawnSize
) -> Response:
    """Draw how far the second facing stands from the first."""
    sets, words, gauges = _drawn_sides(session, before, after)
    picture = difference_picture(sets, words.first, gauges, size)
    return answer_picture(request, picture, lambda: draw_difference(picture))


@dataclass(frozen=True, slots=True)
class Offer:
    """A comparison a job's page offers: its words and where it is."""

    words: str
    address: str


def find_departure(job: Job, sets: Sequence[Measurement]) -> Measurement | None:
    """The readings with which a job's piece last left before it came in for this job."""
    own = standing([kept for kept in sets if kept.job_number == job.number], "as_received")
    until = own[-1].taken_on if own else job.dropped_off
    earlier = [
        kept
        for kept in standing(list(sets), "as_returned")
        if kept.job_number != job.number and kept.taken_on <= until
    ]
    return earlier[-1] if earlier else None


def offer_comparisons(job: Job, sets: Sequence[Measurement]) -> list[Offer]:
    """Offer what a job's reader asks first; `sets` are all of its piece's, oldest first."""
    current = standing(list(sets))
    own = [kept for kept in current if kept.job_number == job.number]
    received, returned = standing(own, "as_received"), standing(own, "as_returned")
    offers = []
    if received and returned:
        address = pair_address(received[-1], returned[-1])
        offers.append(Offer(f"Compare {ROLES['as_received']} with {ROLES['as_returned']}", address))
    if received and (left := find_departure(job, current)):
        address = pair_address(left, received[-1])
        offers.append(Offer("Has it moved since it last left?", address))
    return offers
