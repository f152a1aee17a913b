"""Making: batches of the shop's own pieces against one target, and how each batch runs."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.analysis import MalformedReading
from app.core.facing.evenness import blade_key
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.jobs.batch_verdicts import (
    CANNOT_TELL,
    OUT,
    AwayCell,
    Miss,
    doubt_readings,
    judge_piece,
    list_away,
    list_misses,
    list_unread,
    say_piece,
)
from app.core.jobs.batches import (
    BatchRun,
    continue_marking,
    parse_batch,
    parse_new_batch,
    parse_pieces,
    run_batch,
)
from app.core.plan.bench import judge_bench
from app.core.plan.facings import PlainFacing
from app.core.plan.targets import parse_facing, tell_target, tell_tolerance
from app.core.shop.field_words import label_field, say_value
from app.core.values.forms import Fields, Refused, as_number, plural
from app.core.values.units import format_blade
from app.render.run_chart import RunChart, RunPoint, draw_run_chart
from app.store.records.batches import (
    MadePiece,
    add_batch,
    add_batch_pieces,
    list_batches,
    list_made_pieces,
    move_out,
    save_prices,
)
from app.store.records.facings import KeptFacing, add_facing, get_facing, list_facings
from app.store.records.measurements import Measurement, get_measurement
from app.store.records.pieces import get_piece
from app.store.records.revisions import list_revisions, save_entry
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Batch, Piece
from app.web.drawn import answer_picture
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
from app.web.plan.planning import gauges_for, name_copy, usual_tolerance

router = APIRouter(prefix="/batches")
COPY = "copy"  # of the facing of a piece, whose readings are named beside it
NOT_HERE = "There is no such batch in this book."


@dataclass(frozen=True, slots=True)
class PieceLine:
    """A piece of a batch held against the target; without readings all but `made` is empty.

    `refusal` says in words why its readings can't be judged.
    """

    made: MadePiece
    line: str = ""
    away: tuple[AwayCell, ...] = ()
    misses: tuple[Miss, ...] = ()
    unread: tuple[str, ...] = ()
    refusal: str = ""

    @property
    def is_judged(self) -> bool:
        """Whether its readings could be held against the target."""
        return self.made.last is not None and not self.refusal

    @property
    def verdict(self) -> str:
        """In, out, or cannot tell."""
        return judge_piece(self.misses)

    @property
    def told(self) -> tuple[str, str]:
        """The verdict in words, and why."""
        return say_piece(self.misses, self.unread)


def _batch(session: Session, batch_id: int) -> tuple[Batch, KeptFacing]:
    batch = found_or_404(session.get(Batch, batch_id), NOT_HERE)
    return batch, found_or_404(get_facing(session, batch.facing_id), NOT_HERE)


@router.get("")
def index(request: Request, session: ReadOnly) -> HTMLResponse:
    """List the batches, newest first."""
    lines = list_batches(session)
    gauges = gauges_in_use(session)
    return show_page(
        request,
        "batches/index.html",
        lines=[(line, tell_target(line.facing.target, gauges)) for line in lines],
        has_facings=bool(list_facings(session)),
    )


@router.get("/new")
def new(request: Request, session: ReadOnly, facing: str = "", from_set: str = "") -> HTMLResponse:
    """Show an empty batch, one whose facing is chosen, or one of duplicates of a piece."""
    values = {"facing": facing} if facing else {}
    if _source(session, from_set):
        values = {"facing": COPY, "from_set": from_set}
    return _edit_page(request, session, Form(values=values), None)


def _source(session: Session, text: str) -> tuple[Piece, Measurement] | None:
    """The piece that is duplicated, and its readings."""
    source = get_measurement(session, number) if (number := as_number(text)) else None
    piece = get_piece(session, source.piece_id) if source else None
    return (piece, source) if piece and source else None


def _edit_page(request: Request, session: Session, form: Form, batch: Batch | None) -> HTMLResponse:
    gauges = gauges_in_use(session)
    source = _source(session, form.get("from_set"))
    offered = _offer_facings(session, batch)
    return show_page(
        request,
        "batches/edit.html",
        form=form,
        batch=batch,
        source=source,
        source_line=tell_target(source[1].recorded, gauges) if source else "",
        facings=[(facing, tell_target(facing.target, gauges)) for facing in offered],
    )


def _offer_facings(session: Session, batch: Batch | None) -> list[KeptFacing]:
    """The library; a batch may keep a facing that was put aside since."""
    offered = list_facings(session)
    kept = get_facing(session, batch.facing_id) if batch else None
    if kept and kept.id not in {facing.id for facing in offered}:
        offered.insert(0, kept)
    return offered


@router.post("")
def create(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Begin a batch and write its pieces down."""
    refuse_twice(session, form)
    copied = _copy_facing(session, form, settings)
    raw = form.values | ({"facing": str(copied)} if isinstance(copied, int) else {})
    offered = {facing.id: facing for facing in list_facings(session)}
    entry = parse_new_batch(raw, offered, settings.today())
    if form.is_refused(entry):
        form.problems |= copied.problems if isinstance(copied, Refused) else {}
        session.rollback()
        return _edit_page(request, session, form, None)
    batch = add_batch(session, entry.batch, settings.now())
    kind = offered[entry.batch.facing_id].instrument_kind
    add_batch_pieces(session, batch, entry.pieces, kind, settings.today(), settings.now())
    return commit_once(session, form, f"/batches/{batch.id}?said=new", settings.now())


def _copy_facing(session: Session, form: Form, settings: SettingsDep) -> int | Refused | None:
    """Keep the facing of the piece that is duplicated, if that was chosen; gives its number."""
    source = _source(session, form.get("from_set"))
    if form.get("facing") != COPY or source is None:
        return None
    piece, read = source
    if same := [facing.id for facing in list_facings(session) if facing.source_set_id == read.id]:
        return same[0]
    kind = piece.instrument_kind
    raw = {"told_by": "copy", "name": name_copy(piece, read), "instrument_kind": kind}
    gauges = gauges_for(session, kind)
    entry = parse_facing(raw, gauges, settings.today(), read.readings, read.id)
    if isinstance(entry, Refused):
        return Refused({"facing": " ".join(entry.problems.values())})
    entry = replace(entry, tolerance=usual_tolerance(get_shop(session)))
    return add_facing(session, entry, settings.now()).id


@router.get("/{batch_id}")
def show(request: Request, session: ReadOnly, batch_id: int) -> HTMLResponse:
    """Show a batch: each piece against the target, and how the batch runs."""
    return _page(request, session, batch_id, Form())


READ_LESS_WANTED = (
    "Read less wanted: + at the tip is too open, + at a blade stops too far from the tip. Blades "
    "in {glass}, left/right where the rails differ."
)
BY_TOLERANCE = (
    "Beyond: past the tolerance. Within and out are said only where the reading is away from the "
    "limit by a guard band of 1.65 standard uncertainties (the decision rule of ISO 14253-1); "
    "nearer to it the gauges can’t tell."
)
BY_CHANCE = (
    "Out is said where a reading stands further off than the gauges leave any of a piece’s "
    "readings by chance in one piece of twenty."
)


def _page(request: Request, session: Session, batch_id: int, form: Form) -> HTMLResponse:
    made = list_made_pieces(session, batch_id)
    return show_page(
        request,
        "batches/show.html",
        form=form,
        left=[piece for piece in made if piece.left_at is not None],
        revisions=_list_revisions(session, batch_id),
        own_id=get_shop(session).customer_id,
        currency=get_shop(session).currency,
        more=continue_marking(made[-1].piece.marking) if made else ("", 1),
        last_material=made[-1].piece.material if made else "hard_rubber",
        **gather_batch(session, batch_id),
    )


def gather_batch(session: Session, batch_id: int) -> dict[str, Any]:
    """Gather what page and paper say of a batch: its pieces against the target, and how it runs."""
    batch, facing = _batch(session, batch_id)
    gauges = gauges_for(session, facing.instrument_kind)
    made = list_made_pieces(session, batch_id)
    pieces = [piece for piece in made if piece.left_at is None]
    gaps = _list_gaps(facing, pieces, gauges)
    lines = [_judge(piece, facing, gaps, gauges) for piece in pieces]
    tolerance = tell_tolerance(facing.tolerance, gauges.glass)
    within = "within tolerance" if tolerance else "on the target, as far as the gauges can tell"
    return {
        "batch": batch,
        "facing": facing,
        "target_line": tell_target(facing.target, gauges),
        "tolerance": tolerance,
        "heads": [format_blade(gap) for gap in gaps],
        "lines": lines,
        "within": within,
        "summary": _summarise(lines, within),
        "explained": f"{READ_LESS_WANTED.format(glass=gauges.glass.label)} "
        f"{BY_TOLERANCE if tolerance else BY_CHANCE}",
        "unread_piece": next((line.made for line in lines if line.made.last is None), None),
        "runs": _runs(facing, pieces, gauges),
    }


def _summarise(lines: list[PieceLine], within_words: str) -> str:
    """Say how many pieces are within tolerance, and of how many that can't be told."""
    verdicts = [line.verdict for line in lines if line.is_judged]
    read, out, doubted = len(verdicts), verdicts.count(OUT), verdicts.count(CANNOT_TELL)
    if not read:
        return f"{plural(len(lines), 'piece')}, none read yet."
    within = read - out - doubted
    if within == read:
        words = f"{'The one' if read == 1 else f'All {read}'} read {_be(read)} {within_words}"
    else:
        words = f"Of {read} read, {within} {_be(within)} {within_words}"
        words += f", {out} out of it" if out else ""
        words += f", and of {doubted} the gauges can’t tell" if doubted else ""
    left = len(lines) - read
    return f"{words}. {left} still to read." if left else f"{words}."


def _be(count: int) -> str:
    return "is" if count == 1 else "are"


def _list_revisions(session: Session, batch_id: int) -> list[tuple[date, str]]:
    """Say what a batch said before, newest first."""
    names = {str(facing.id): facing.name for facing in list_facings(session)}

    def say(name: str, value: object) -> str:
        shown = "" if value is None else str(value)
        said = names.get(shown, shown) if name == "facing_id" else say_value(name, shown)
        return f"{label_field(name) if name.islower() else name}: {said or '–'}"

    return [
        (revision.at.date(), "; ".join(say(name, value) for name, value in revision.before.items()))
        for revision in list_revisions(session, "batch", batch_id)
    ]


def _list_gaps(
    facing: KeptFacing, pieces: list[MadePiece], gauges: GaugesInUse
) -> tuple[float, ...]:
    """List the blades to show, thick to thin: those that were read, else those of the set."""
    read = {
        blade_key(stop.gap_mm): stop.gap_mm
        for made in pieces
        if made.last
        for stop in (*made.last.facing.left, *made.last.facing.right)
    }
    gaps = list(read.values()) or [blade.gap_mm for blade in gauges.blades]
    if not isinstance(facing.target, PlainFacing):
        known = {blade_key(gap) for gap in gaps}
        aimed = [stop.gap_mm for stop in (*facing.target.left, *facing.target.right)]
        gaps += {blade_key(gap): gap for gap in aimed if blade_key(gap) not in known}.values()
    return tuple(sorted(gaps, reverse=True))


def _judge(
    made: MadePiece, facing: KeptFacing, gaps: tuple[float, ...], gauges: GaugesInUse
) -> PieceLine:
    if made.last is None:
        return PieceLine(made)
    now, uncertainties = made.last.facing, made.last.uncertainties
    line = write_line(now, gauges)
    try:
        state = judge_bench(facing.target, now, facing.tolerance, uncertainties)
    except MalformedReading as error:
        return PieceLine(made, line, refusal=str(error))
    return PieceLine(
        made,
        line,
        list_away(state, facing.tolerance, gaps, gauges),
        (*list_misses(state, facing.tolerance, gauges), *doubt_readings(state.again)),
        list_unread(facing.target, now),
    )


def _runs(
    facing: KeptFacing, pieces: list[MadePiece], gauges: GaugesInUse
) -> tuple[BatchRun, BatchRun]:
    read = [
        (made.piece.marking, made.last.trusted)
        for made in pieces
        if made.last and made.left_at is None
    ]
    return run_batch(facing.target, facing.tolerance, read, gauges)


@router.get("/{batch_id}/{quantity}.svg")
def draw_run(
    request: Request, session: ReadOnly, batch_id: int, quantity: str, size: str = "card"
) -> Response:
    """Draw a batch's run chart, of tip opening or facing length."""
    _, facing = _batch(session, batch_id)
    gauges = gauges_for(session, facing.instrument_kind)
    runs = {run.quantity: run for run in _runs(facing, list_made_pieces(session, batch_id), gauges)}
    run = found_or_404(runs.get(quantity), "There is no such picture.")
    picture = found_or_404(chart_of(run, size), "A run chart needs at least two pieces.")
    return answer_picture(request, picture, lambda: draw_run_chart(picture))


def chart_of(run: BatchRun, size: str = "card") -> RunChart | None:
    """A batch's run as a chart to draw; None below two pieces."""
    if run.chart is None:
        return None
    small = size == "small"
    return RunChart(
        points=tuple(
            RunPoint(marking, value)
            for marking, value in zip(run.markings, run.values_mm, strict=True)
        ),
        caption=f"{run.label.lower()}, mm",
        decimals=2,
        centre=run.chart.centre_mm,
        lower=run.chart.lower_mm,
        upper=run.chart.upper_mm,
        nominal=run.target_mm,
        nominal_words="target",
        outside=run.chart.beyond,
        order="in the order made",
        size="small" if small else "card",
        width_mm=None if small else 184.0,
        height_mm=None if small else 80.0,
    )


@router.post("/{batch_id}/pieces")
def create_pieces(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, batch_id: int
) -> Response:
    """Write more pieces of a batch down."""
    batch, facing = _batch(session, batch_id)
    refuse_twice(session, form)
    taken = [made.piece.marking for made in list_made_pieces(session, batch_id)]
    entry = parse_pieces(form.values, taken)
    if form.is_refused(entry):
        return _page(request, session, batch_id, form)
    add_batch_pieces(
        session, batch, entry, facing.instrument_kind, settings.today(), settings.now()
    )
    return commit_once(session, form, f"/batches/{batch_id}?said=more", settings.now())


@router.post("/{batch_id}/prices")
def update_prices(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, batch_id: int
) -> Response:
    """Keep what each piece of a batch is for sale at."""
    batch, _ = _batch(session, batch_id)
    currency = get_shop(session).currency
    fields = Fields(form.values, currency=currency)
    prices = {}
    for made in list_made_pieces(session, batch_id):
        if (name := f"price-{made.piece.id}") in form.values:
            prices[made.piece.id] = fields.money_minor(name)
    if fields.problems:
        form.refuse(fields)
        return _page(request, session, batch_id, form)
    save_prices(session, batch, prices, currency, settings.now())
    session.commit()
    return go_to(f"/batches/{batch_id}?said=kept#for-sale")


@router.post("/{batch_id}/pieces/{piece_id}/leave")
def leave(
    session: Writing, form: Typed, settings: SettingsDep, batch_id: int, piece_id: int
) -> Response:
    """Take a piece out of its batch, or bring it back; both stay written."""
    batch, _ = _batch(session, batch_id)
    left = form.get("do") != "bring_back"
    found_or_404(
        move_out(session, batch, piece_id, left=left, now=settings.now()),
        "There is no such piece in this batch.",
    )
    session.commit()
    return go_to(f"/batches/{batch_id}?said={'left' if left else 'back'}")


@router.get("/{batch_id}/edit")
def edit(request: Request, session: ReadOnly, batch_id: int) -> HTMLResponse:
    """Show a batch's fields to change."""
    batch, _ = _batch(session, batch_id)
    return _edit_page(request, session, Form(), batch)


@router.post("/{batch_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, batch_id: int
) -> Response:
    """Change a batch; its pieces stay as they are."""
    batch, _ = _batch(session, batch_id)
    offered = {facing.id for facing in _offer_facings(session, batch)}
    entry = parse_batch(form.values, offered, settings.today())
    if form.is_refused(entry):
        return _edit_page(request, session, form, batch)
    save_entry(session, batch, entry, form.seen_version, settings.now())
    session.commit()
    return go_to(f"/batches/{batch_id}?said=kept")
