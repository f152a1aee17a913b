"""The made-up shop's jobs: each kind of line of their diaries, done as its page does it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

from app.core.facing.measurements import RAILS, cell_name, parse_set
from app.core.facing.suspects import ask_suspects
from app.core.gauges.hand_gauges import FIELDS
from app.core.jobs.charges import (
    PAYMENT_SIGNS,
    parse_answer,
    parse_charge,
    parse_payment,
    parse_quote,
)
from app.core.jobs.drop_offs import parse_drop_off, row_prefix
from app.core.jobs.jobs import OUTCOMES, TICK_KINDS, parse_agreed, parse_note, read_ticks
from app.core.jobs.memos import MEMO_KINDS, MemoEntry, parse_memo
from app.core.jobs.photos import parse_photo
from app.core.jobs.slips import SLIP_KINDS
from app.core.jobs.stages import STAGES
from app.core.plan.targets import parse_facing
from app.core.shop.drafts import pick_draft
from app.core.values.forms import Fields, format_amount, format_money
from app.core.values.passes import parse_pass
from app.core.values.works import parse_work
from app.packed import folder_of
from app.render.photos import make_photo
from app.store.records.charges import account_of, add_charge, add_payment, answer_quote
from app.store.records.drafts import keep_draft
from app.store.records.drop_offs import take_in
from app.store.records.facings import add_facing, choose_facing
from app.store.records.gauges import list_hand_gauges, sizes_in_use
from app.store.records.jobs import add_event, list_order, move_job, save_outcomes, save_ticks
from app.store.records.measurements import Measurement, measurements_of_job
from app.store.records.memos import add_memo, finish_memo, last_memo, list_memos
from app.store.records.passes import add_work, strike_pass
from app.store.records.photos import add_photo
from app.store.records.pieces import get_piece, pass_on_piece
from app.store.records.shop import gauges_in_use, get_shop, list_blade_sets, list_checklist
from app.web.demo.desk import Desk, Line, find_gauge, refuse, taken
from app.web.facing.measurements import Bench, keep_set
from app.web.jobs.jobs import keep_agreed, note_pass
from app.web.jobs.slip_subjects import Subject
from app.web.jobs.slips import issue_paper

DEMO_SITE = "http://127.0.0.1:8765"


def _take_in(desk: Desk, line: Line) -> None:
    """Take a piece in, and those that are `also` in its order."""
    who, horn = line.typed["customer"], line.typed.get("instrument", "")
    keys = [line.typed["piece"], *line.ticked("also")]
    new = [key for key in keys if key not in desk.pieces]
    known = [key for key in keys if key in desk.pieces]
    raw = {
        **line.text(),
        **_known_or_new("customer", desk.customers.get(who), desk.data.customers[who]),
        **_played_on(desk, who, horn),
        "rows": str(len(new) or 1),
    }
    for row, key in enumerate(new, start=1):
        raw |= {f"{row_prefix(row)}{name}": str(v) for name, v in desk.data.pieces[key].items()}
    for field, name in (("wanted_by", "wanted_after"), ("expected_on", "expected_after")):
        if name in line.typed:
            raw[field] = (desk.settings.today() + timedelta(days=line.typed[name])).isoformat()
    ticked = {kind: line.ticked(kind) for kind in (*TICK_KINDS, "service")}
    ticked["piece"] = [str(desk.pieces[key]) for key in known] or [""]
    currency = get_shop(desk.session).currency
    drop = taken(line, parse_drop_off(raw, ticked, desk.settings.today(), currency))
    job = take_in(desk.session, drop, desk.settings.now())
    desk.jobs[line.job] = job.number
    desk.customers[who] = job.customer_id
    for key, ordered in zip([*known, *new], list_order(desk.session, job), strict=True):
        desk.pieces[key] = ordered.piece_id
    if job.instrument_id is not None:
        desk.instruments[who, horn] = job.instrument_id


def _known_or_new(noun: str, known: int | None, fields: Mapping[str, Any]) -> dict[str, str]:
    if known is not None:
        return {noun: str(known)}
    return {noun: "new"} | {f"{noun}_{name}": str(value) for name, value in fields.items()}


def _played_on(desk: Desk, who: str, horn: str) -> dict[str, str]:
    if not horn:
        return {"instrument": "none"}
    owned = {played["key"]: played for played in desk.data.customers[who]["instruments"]}
    return _known_or_new("instrument", desk.instruments.get((who, horn)), owned[horn])


def _read(desk: Desk, line: Line, replaces: Measurement | None = None) -> None:
    job, session = desk.job(line), desk.session
    gauges = gauges_in_use(session, _blade_set(desk, line.typed.get("blades")))
    gauges = replace(gauges, hands=list_hand_gauges(session))
    raw = line.text() | {
        field: str(find_gauge(desk, line, line.typed[kind]).id)
        for kind, field in FIELDS.items()
        if kind in line.typed
    }
    parsed = parse_set(
        raw,
        gauges,
        job.piece.instrument_kind,
        desk.settings.today(),
        lambda entry: ask_suspects(entry, sizes_in_use(session, gauges, entry.taken_on)),
    )
    if parsed.problems:
        raise refuse(line, parsed.problems)
    blades = {
        cell_name(blade, rail): f"{blade.label}, {rail}"
        for blade in gauges.blades
        for rail in RAILS
    }
    if {blades.get(name, name) for name in parsed.questions} != set(line.ticked("yes")):
        raise refuse(line, parsed.questions or {"yes": "there was no question to say yes to"})
    bench = Bench(job.piece, job, "", "", replaces)
    keep_set(session, bench, parsed.entry, gauges, desk.settings.now(), line.typed.get("why", ""))


def _blade_set(desk: Desk, blades: int | None) -> int | None:
    if blades is None:
        return None
    fitting = (kept.id for kept in list_blade_sets(desk.session) if len(kept.members) == blades)
    return next(fitting)


def _correct(desk: Desk, line: Line) -> None:
    replaces = measurements_of_job(desk.job(line))[line.typed["set"] - 1]
    if not line.typed.get("why"):
        raise refuse(line, {"why": "a correction says why"})
    typed = {"role": replaces.role, **line.typed}
    _read(desk, replace(line, typed=typed), replaces)


def _aim(desk: Desk, line: Line) -> None:
    job, session = desk.job(line), desk.session
    gauges = gauges_in_use(session, _blade_set(desk, line.typed.get("blades")))
    today, now = desk.settings.today(), desk.settings.now()
    raw = line.text() | {"told_by": "readings", "name": f"Job {job.number}"}
    raw["instrument_kind"] = job.piece.instrument_kind
    entry = taken(line, parse_facing(raw, gauges, today))
    facing = add_facing(session, entry, now, in_library=False)
    choose_facing(session, job, facing, f"Target: {line.typed['line']}", today, now)


def _agree(desk: Desk, line: Line) -> None:
    job, currency = desk.job(line), get_shop(desk.session).currency
    # The page comes filled with what the job says; only what is typed differs.
    raw = {
        "request": job.request,
        "condition_notes": job.condition_notes,
        "declared_value": format_amount(job.declared_value_minor, currency),
        "wanted_by": job.wanted_by.isoformat() if job.wanted_by else "",
        "return_by": job.return_by,
        "tracking": job.tracking,
        "agreed_work": job.agreed_work,
        "agreed_price": format_amount(job.agreed_price_minor, currency),
        "deposit": format_amount(job.deposit_minor, currency),
        **line.text(),
    }
    ticked: dict[str, list[str]] = {}
    for tick in job.ticks:
        ticked.setdefault(tick.kind, []).append(tick.label)
    days = job.dropped_off, desk.settings.today()
    entry = taken(line, parse_agreed(raw, ticked, days, currency))
    keep_agreed(desk.session, job, entry, job.version, desk.settings)


def _pass(desk: Desk, line: Line) -> None:
    entry = taken(line, parse_pass(line.text(), desk.settings.today()))
    note_pass(desk.session, desk.job(line), entry, desk.settings.now())


def _work(desk: Desk, line: Line) -> None:
    job, session = desk.job(line), desk.session
    own, shop = list_checklist(session, "work"), get_shop(session)
    kind, today = job.piece.instrument_kind, desk.settings.today()
    entry = parse_work(line.text(), own, kind, today, shop.currency, job.dropped_off)
    add_work(session, job, taken(line, entry), desk.settings.now())


def _strike(desk: Desk, line: Line) -> None:
    strike_pass(desk.job(line).passes[line.typed["pass"] - 1], desk.settings.now())


def _note(desk: Desk, line: Line) -> None:
    entry = taken(line, parse_note(line.text(), desk.settings.today()))
    add_event(desk.session, desk.job(line), "note", entry.on, desk.settings.now(), entry.words)


def _move(desk: Desk, line: Line) -> None:
    stage = line.typed["stage"]
    if stage not in STAGES:
        raise refuse(line, {"stage": "there is no such stage"})
    move_job(desk.session, desk.job(line), stage, desk.settings.today(), desk.settings.now())


def _issue(desk: Desk, line: Line) -> None:
    job, kind = desk.job(line), SLIP_KINDS[line.typed["kind"]]
    issue_paper(desk.session, Subject(job.piece, job), kind, desk.settings, DEMO_SITE)


def _sell(desk: Desk, line: Line) -> None:
    piece = get_piece(desk.session, desk.pieces[line.typed["piece"]])
    new_owner = desk.customers[line.typed["to"]]
    if piece is None or piece.owner_id == new_owner:
        raise refuse(line, {"piece": "it can't be sold to whom it belongs"})
    pass_on_piece(
        desk.session, piece, new_owner, desk.settings.today(), piece.version, desk.settings.now()
    )


def _charge(desk: Desk, line: Line) -> None:
    raw = {"charge_kind": "charge", **line.text()}
    entry = taken(line, parse_charge(raw, desk.settings.today(), get_shop(desk.session).currency))
    add_charge(desk.session, desk.job(line), entry, desk.settings.now())


def _pay(desk: Desk, line: Line) -> None:
    raw = {"payment_kind": "payment", **line.text()}
    currency = get_shop(desk.session).currency
    entry = taken(line, parse_payment(raw, desk.settings.today(), currency))
    amount = format_money(abs(entry.amount_minor), currency)
    words = f"{PAYMENT_SIGNS[entry.kind][0].capitalize()}: {amount}"
    words += f", {entry.way}" if entry.way else ""
    add_payment(desk.session, desk.job(line), entry, words, desk.settings.now())


def _photograph(desk: Desk, line: Line) -> None:
    job, entry = desk.job(line), taken(line, parse_photo(line.text()))
    made = make_photo((folder_of("demo_data") / line.typed["file"]).read_bytes())
    add_photo(
        desk.session,
        desk.settings.book,
        job.piece_id,
        job,
        entry,
        (made.width_px, made.height_px),
        {"": made.content, "small": made.small},
        today=desk.settings.today(),
        now=desk.settings.now(),
    )


def _note_outcome(desk: Desk, line: Line) -> None:
    job, text = desk.job(line), line.text()
    outcomes = {tick.id: text.get(tick.label.replace(" ", "_"), tick.outcome) for tick in job.ticks}
    if not {*outcomes.values()} <= {"", *OUTCOMES}:
        raise refuse(line, {"outcome": "there is no such outcome"})
    findings = read_ticks(Fields({}), {"finding": line.ticked("finding")}, at_drop_off=False)
    today, now = desk.settings.today(), desk.settings.now()
    save_ticks(desk.session, job, findings, today, now, at_drop_off=False)
    save_outcomes(desk.session, job, outcomes, today, now)


def _memo(desk: Desk, line: Line) -> None:
    job = desk.job(line)
    add_memo(desk.session, job.piece, job, memo_of(desk, line), desk.settings.now())


def memo_of(desk: Desk, line: Line) -> MemoEntry:
    """Read a line that is written as a memo; `due_after` counts days from its own."""
    kind = MEMO_KINDS[line.typed["kind"]]
    raw = {f"{kind.key}_{name}": text for name, text in line.text().items()}
    if "due_after" in line.typed:
        due = desk.settings.today() + timedelta(days=line.typed["due_after"])
        raw[f"{kind.key}_due"] = due.isoformat()
    today, currency = desk.settings.today(), get_shop(desk.session).currency
    return taken(line, parse_memo(kind, raw, today, currency))


def _answer(desk: Desk, line: Line) -> None:
    job, kind = desk.job(line), line.typed["kind"]
    memo = next(m for m in list_memos(desk.session, job.piece, job) if m.kind == kind)
    finish_memo(desk.session, memo, desk.settings.today(), line.typed.get("answer", ""))


def _quote(desk: Desk, line: Line) -> None:
    order, today = list_order(desk.session, desk.job(line)), desk.settings.today()
    account = account_of(desk.session, order)
    amount = format_money(account.total_minor, get_shop(desk.session).currency)
    until = today + timedelta(days=line.typed["good_after"])
    entry = taken(line, parse_quote({"good_until": until.isoformat()}, today, amount))
    add_memo(desk.session, order[0].piece, order[0], entry, desk.settings.now())


def _answer_quote(desk: Desk, line: Line) -> None:
    order = list_order(desk.session, desk.job(line))
    quote = last_memo(desk.session, order[0].piece, order[0], "quote")
    if quote is None:
        raise refuse(line, {"quote": "nothing was quoted"})
    entry = taken(line, parse_answer(line.text(), desk.settings.today(), quote.on))
    answer_quote(desk.session, order, quote, entry, desk.settings.now())


def _half_typed(desk: Desk, line: Line) -> None:
    place = f"/jobs/{desk.job(line).number}/readings"
    keep_draft(desk.session, place, pick_draft(line.text()), desk.settings.now())


JOB_DOERS: dict[str, Callable[[Desk, Line], None]] = {
    "take_in": _take_in,
    "readings": _read,
    "correct": _correct,
    "aim": _aim,
    "agree": _agree,
    "pass": _pass,
    "work": _work,
    "strike": _strike,
    "note": _note,
    "move": _move,
    "paper": _issue,
    "sell": _sell,
    "charge": _charge,
    "quote": _quote,
    "answer_quote": _answer_quote,
    "payment": _pay,
    "photo": _photograph,
    "draft": _half_typed,
    "outcome": _note_outcome,
    "memo": _memo,
    "done": _answer,
}
