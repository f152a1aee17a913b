"""Playing, parcels and what comes after: a page of memos for each job and piece; what cured it."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.compare.effort_words import VERDICTS
from app.core.compare.length_words import show_reading
from app.core.facing.measurements import ROLES
from app.core.jobs.cures import LEAST_CASES, hold_beside, tell_cures
from app.core.jobs.jobs import OUTCOMES, read_ticks
from app.core.jobs.memos import (
    FEELS,
    MEMO_KINDS,
    MemoEntry,
    MemoKind,
    jobs_in,
    parse_memo,
    tell_memo,
    tell_seal,
)
from app.core.jobs.stages import ARRIVED
from app.core.values.customers import read_customer
from app.core.values.forms import Fields, Refused, format_amount, format_date
from app.store.records.batches import price_of
from app.store.records.charges import sum_of
from app.store.records.customers import add_customer, get_customer
from app.store.records.jobs import list_order, move_on, save_outcomes, save_ticks
from app.store.records.memos import (
    NEWEST,
    add_memo,
    finish_memo,
    get_memo,
    is_open,
    last_memo,
    list_cases,
    list_felt,
    list_memos,
    trial_of,
)
from app.store.records.pieces import pass_on_piece
from app.store.records.search import find_customers
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Job, Memo, Piece
from app.web.facing.summaries import summarise
from app.web.jobs.jobs import offer_ticks
from app.web.jobs.slip_subjects import before_after, list_ticked
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    go_to,
    job_or_404,
    piece_or_404,
    refuse_twice,
    show_page,
)

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Desk:
    """Where memos are written: a job, or a piece outside any; `own` where the piece is for sale."""

    piece: Piece
    job: Job | None
    own: bool

    @property
    def address(self) -> str:
        """The page it belongs to."""
        return f"/jobs/{self.job.number}" if self.job else f"/pieces/{self.piece.id}"

    def takes(self, kind: MemoKind) -> bool:
        """Say whether a kind of memo is written here."""
        here = {"job"} if self.job else {"piece", "sale"} if self.own else {"piece"}
        return bool(here & set(kind.about))


def _job_desk(session: Session, number: int) -> Desk:
    job = job_or_404(session, number)
    return Desk(job.piece, job, own=False)


def _piece_desk(session: Session, piece_id: int) -> Desk:
    piece = piece_or_404(session, piece_id)
    return Desk(piece, None, piece.owner_id == get_shop(session).customer_id)


@router.get("/jobs/{number}/memos")
def index(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show a job's play-tests, outcomes, seal, parcels and what is to be asked later."""
    return _page(request, session, _job_desk(session, number), Form())


@router.get("/pieces/{piece_id}/memos")
def index_of_piece(
    request: Request, session: ReadOnly, piece_id: int, find: str = ""
) -> HTMLResponse:
    """Show a piece's play-tests and parcels, and of one for sale its trials and its sale."""
    return _page(request, session, _piece_desk(session, piece_id), Form({"find": find[:200]}))


def _page(request: Request, session: Session, desk: Desk, form: Form) -> HTMLResponse:
    memos = list_memos(session, desk.piece, desk.job)
    standing = [memo for memo in reversed(memos) if memo.struck_at is None]
    seals = {m.details["moment"]: m.details["seconds"] for m in standing if m.kind == "seal"}
    kept = {key: [memo for memo in memos if memo.kind == key] for key in MEMO_KINDS}
    shop, order = get_shop(session), list_order(session, desk.job) if desk.job else []
    return show_page(
        request,
        "memos/index.html",
        form=form,
        desk=desk,
        kinds=[
            kind
            for kind in MEMO_KINDS.values()
            if desk.takes(kind) or (kept[kind.key] and kind.page == "memos")
        ],
        kept=kept,
        tell=lambda memo: tell_memo(MEMO_KINDS[memo.kind], memo.details),
        seal=tell_seal(seals),
        beside_seal=_beside_seal(session, desk.job) if desk.job else [],
        outcomes=OUTCOMES,
        findings=offer_ticks(session, form, desk.job, at_drop_off=False) if desk.job else [],
        found=find_customers(session, form.get("find"), most=8) if form.get("find") else [],
        trial=trial_of(session, desk.piece),
        order=order,
        currency=shop.currency,
        usual={
            "parcel_declared": format_amount(sum_of(order, "declared_value_minor"), shop.currency),
            "sale_price": format_amount(price_of(session, desk.piece), shop.currency),
        },
    )


def _beside_seal(session: Session, job: Job) -> list[tuple[str, str]]:
    """Say what may explain a leak: what was found at the bench, the rails and the table as read."""
    rows = [("Found at the bench", list_ticked(job, "finding"))]
    for read in filter(None, before_after(job)):
        summary = summarise(read, gauges_in_use(session), get_shop(session))
        rows.append((f"Rails {ROLES[read.role]}", summary.evenness))
        flat = (reading for reading in read.readings if reading.quantity == "table_flatness")
        off_by = ", ".join(map(show_reading, flat))
        rows.append((f"Table {ROLES[read.role]}, out of flat by", off_by))
    return [(label, words) for label, words in rows if words]


@router.post("/jobs/{number}/memos/{kind}")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int, kind: str
) -> Response:
    """Keep a memo of a job."""
    return _create(request, session, _job_desk(session, number), form, settings, kind)


@router.post("/pieces/{piece_id}/memos/{kind}")
def create_of_piece(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, piece_id: int, kind: str
) -> Response:
    """Keep a memo of a piece; a trial or a sale says who it goes to."""
    return _create(request, session, _piece_desk(session, piece_id), form, settings, kind)


def _create(
    request: Request, session: Session, desk: Desk, form: Form, settings: SettingsDep, key: str
) -> Response:
    refuse_twice(session, form)
    kind = MEMO_KINDS.get(key)
    if kind is None or not desk.takes(kind):
        raise HTTPException(404, "Nothing of that kind is written down here.")
    if form.get("do") == "find":
        return _page(request, session, desk, form)
    order = list_order(session, desk.job) if desk.job and kind.of_order else []
    packed = [str(job.number) for job in order if str(job.number) in form.ticked("jobs")]
    form.values[f"{key}_jobs"] = ", ".join(packed) if len(order) > 1 else ""
    entry = parse_memo(kind, form.values, settings.today(), get_shop(session).currency)
    form.problems = dict(entry.problems) if isinstance(entry, Refused) else {}
    if len(order) > 1 and not packed:
        form.problems["jobs"] = "Tick which pieces are in it."
    customer_id = _settle_customer(session, desk, form, kind, settings) if kind.to else None
    if (
        key == "away"
        and desk.job
        and (out := last_memo(session, desk.piece, desk.job, key))
        and is_open(out)
    ):
        form.problems["away_due"] = f"It is out already, due back {format_date(out.due)}."
    if form.problems or isinstance(entry, Refused):
        session.rollback()
        return _page(request, session, _again(session, desk), form)
    keep_memo(session, desk, entry, settings.now(), customer_id)
    return commit_once(session, form, f"{desk.address}/memos?said=kept#{key}", settings.now())


def _again(session: Session, desk: Desk) -> Desk:
    if desk.job:
        return _job_desk(session, desk.job.number)
    return _piece_desk(session, desk.piece.id)


def _settle_customer(
    session: Session, desk: Desk, form: Form, kind: MemoKind, settings: SettingsDep
) -> int | None:
    """Who a piece goes to, a known customer or a new one; problems are left in the form."""
    fields = Fields(form.values, form.problems)
    out = trial_of(session, desk.piece)
    chosen = form.get(f"{kind.key}_to")
    if chosen == "new":
        entry = read_customer(fields, f"{kind.key}_")
        customer_id = None if fields.problems else add_customer(session, entry, settings.now()).id
    else:
        customer_id = fields.number_of(f"{kind.key}_to", needed=f"Choose: {kind.to.lower()}.")
        if customer_id is not None and get_customer(session, customer_id) is None:
            fields.refuse(f"{kind.key}_to", "That customer is not in the book.")
        elif customer_id == desk.piece.owner_id:
            fields.refuse(f"{kind.key}_to", "It is the shop’s own already.")
    if out and (kind.key == "trial" or out.customer_id != customer_id):
        name = out.customer.name if out.customer else "somebody"
        fields.refuse(f"{kind.key}_to", f"It is out on trial with {name}: note it home first.")
    return customer_id


def keep_memo(
    session: Session, desk: Desk, entry: MemoEntry, now: datetime, customer_id: int | None = None
) -> None:
    """Keep a memo; a sold piece is its buyer's from then on, and its trial is over."""
    add_memo(session, desk.piece, desk.job, entry, now, customer_id)
    if entry.kind == "sale" and customer_id:
        if trial := trial_of(session, desk.piece):
            finish_memo(session, trial, entry.on)
        pass_on_piece(session, desk.piece, customer_id, entry.on, None, now)


def _memo(session: Session, memo_id: int, form: Form) -> tuple[Memo, Desk]:
    """A memo and the page it was pressed on: another job's of its order, if that says so."""
    memo = found_or_404(get_memo(session, memo_id), "There is no such line in this book.")
    if memo.job is None:
        return memo, _piece_desk(session, memo.piece_id)
    order = {str(job.number) for job in list_order(session, memo.job)}
    here = form.get("here")
    return memo, _job_desk(session, int(here) if here in order else memo.job.number)


@router.post("/memos/{memo_id}/done")
def finish(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, memo_id: int
) -> Response:
    """Note that what was awaited came: a parcel, a piece out on trial, an answer."""
    memo, desk = _memo(session, memo_id, form)
    kind, fields = MEMO_KINDS[memo.kind], Fields(form.values)
    name = f"answer-{memo.id}"
    needed = "Write what they said." if kind.answer else ""
    answer = fields.text(name, needed=needed, limit=5000)
    if fields.problems:
        form.refuse(fields)
        return _page(request, session, desk, form)
    finish_memo(session, memo, settings.today(), answer)
    if memo.job and memo.details.get("way") == "in":
        came = jobs_in(memo.details)
        for job in list_order(session, memo.job):
            if not came or str(job.number) in came:
                move_on(session, job, ARRIVED, settings.today(), settings.now())
    session.commit()
    return go_to(f"{desk.address}/memos?said=kept#{memo.kind}")


@router.post("/memos/{memo_id}/strike")
def strike(session: Writing, form: Typed, settings: SettingsDep, memo_id: int) -> Response:
    """Strike a line out, or bring it back; a sale is undone by passing the piece on."""
    memo, desk = _memo(session, memo_id, form)
    if memo.kind == "sale":
        raise HTTPException(409, "A sale stays written. Note the piece’s next owner instead.")
    memo.struck_at = None if form.get("do") == "bring_back" else memo.struck_at or settings.now()
    session.commit()
    return go_to(f"{desk.address}/{MEMO_KINDS[memo.kind].page}#{memo.kind}")


@router.post("/jobs/{number}/outcomes")
def update_outcomes(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Keep what was found at the bench and how each complaint is after the work."""
    job, today, now = job_or_404(session, number), settings.today(), settings.now()
    fields = Fields(form.values)
    ticks = read_ticks(fields, form.lists, at_drop_off=False)
    if fields.problems:
        form.refuse(fields)
        return _page(request, session, _job_desk(session, number), form)
    save_ticks(session, job, ticks, today, now, at_drop_off=False)
    outcomes = {tick.id: form.values.get(f"outcome-{tick.id}") for tick in job.ticks}
    known = {key: said for key, said in outcomes.items() if said in {"", *OUTCOMES}}
    save_outcomes(session, job, known, today, now)
    session.commit()
    return go_to(f"/jobs/{number}/memos?said=kept#outcomes")


@router.get("/cures")
def cures(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show for each complaint how often it was better, and whether players feel what is told."""
    return show_page(
        request,
        "memos/cures.html",
        told=tell_cures(list_cases(session)),
        least=LEAST_CASES,
        felt=hold_beside(list_felt(session)),
        newest=NEWEST,
        felts=FEELS,
        verdicts=VERDICTS,
    )
