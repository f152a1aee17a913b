"""The made-up shop's own doings: gauges checked and studied, wordings, facings, a batch."""

from collections.abc import Callable
from dataclasses import asdict

from app.core.facing.measurements import parse_set
from app.core.gauges.gauges import GAUGE_KINDS, parse_check, parse_gauge
from app.core.gauges.studies import parse_study, study_cell
from app.core.jobs.batches import parse_new_batch
from app.core.jobs.messages import parse_wording
from app.core.plan.targets import parse_facing
from app.core.shop.stock import parse_stock
from app.core.values.forms import Fields
from app.store.records.batches import (
    add_batch,
    add_batch_pieces,
    list_made_pieces,
    move_out,
    save_prices,
)
from app.store.records.facings import add_facing, list_facings
from app.store.records.gauges import add_check, add_gauge, get_gauge
from app.store.records.keeping import keep
from app.store.records.messages import list_wordings, save_wordings
from app.store.records.shop import gauges_in_use, get_shop
from app.store.records.studies import add_study, adopt_study
from app.store.tables import Batch, Piece, Stock
from app.web.demo.desk import Desk, Line, find_gauge, refuse, taken
from app.web.demo.jobs import memo_of
from app.web.facing.measurements import Bench, keep_set
from app.web.gauges.gauges import scale_of
from app.web.jobs.memos import Desk as MemoDesk
from app.web.jobs.memos import keep_memo


def _add_gauge(desk: Desk, line: Line) -> None:
    kind = GAUGE_KINDS[line.typed["kind"]]
    add_gauge(desk.session, taken(line, parse_gauge(line.text(), kind)))


def _check(desk: Desk, line: Line) -> None:
    gauge = find_gauge(desk, line, line.typed["gauge"])
    entry = parse_check(
        {"unit": "length_mm", **line.text()},
        GAUGE_KINDS[gauge.kind],
        scale_of(gauge),
        gauge.nominal_mm,
        desk.settings.today(),
    )
    add_check(desk.session, gauge, taken(line, entry), desk.settings.now())


def _study(desk: Desk, line: Line) -> None:
    gauge = get_gauge(desk.session, find_gauge(desk, line, line.typed["gauge"]).id)
    if gauge is None:
        raise refuse(line, {"gauge": "it is not in the register"})
    rounds: list[list[str]] = line.typed["rounds"]
    raw = line.text() | {f"piece_{at}": name for at, name in enumerate(line.ticked("pieces"), 1)}
    for turn, row in enumerate(rounds, 1):
        raw |= {study_cell(turn, place): str(text) for place, text in enumerate(row, 1)}
    entry = parse_study(raw, scale_of(gauge), len(rounds[0]), len(rounds), desk.settings.today())
    study = add_study(desk.session, gauge, None, taken(line, entry), desk.settings.now())
    adopt_study(desk.session, study, desk.settings.today(), desk.settings.now())


def _word(desk: Desk, line: Line) -> None:
    key = line.typed["kind"]
    usual = list_wordings(desk.session)[key]
    raw = {f"{key}_subject": usual.subject, f"{key}_body": usual.body}
    raw |= {f"{key}_{name}": text for name, text in line.text().items()}
    save_wordings(desk.session, {key: taken(line, parse_wording(raw, key))})


def _write_facing(desk: Desk, line: Line) -> None:
    gauges = gauges_in_use(desk.session)
    entry = parse_facing(line.text(), gauges, desk.settings.today(), (), None)
    add_facing(desk.session, taken(line, entry), desk.settings.now())


def _begin_batch(desk: Desk, line: Line) -> None:
    offered = {facing.name: facing for facing in list_facings(desk.session)}
    facing = offered[line.typed["facing"]]
    raw = {**line.text(), "facing": str(facing.id)}
    entry = taken(line, parse_new_batch(raw, {facing.id}, desk.settings.today()))
    today, now = desk.settings.today(), desk.settings.now()
    batch = add_batch(desk.session, entry.batch, now)
    add_batch_pieces(desk.session, batch, entry.pieces, facing.instrument_kind, today, now)
    desk.batches[line.typed["name"]] = batch.id


def _made_piece(desk: Desk, line: Line) -> Piece:
    batch_id = desk.batches[line.typed["batch"]]
    marking = line.typed["piece"]
    for made in list_made_pieces(desk.session, batch_id):
        if made.piece.marking == marking:
            return made.piece
    raise refuse(line, {"piece": f"there is no {marking} in this batch"})


def _read_made(desk: Desk, line: Line) -> None:
    piece = _made_piece(desk, line)
    gauges = gauges_in_use(desk.session, instrument_kind=piece.instrument_kind)
    raw = {"role": "reference", **line.text()}
    parsed = parse_set(raw, gauges, piece.instrument_kind, desk.settings.today())
    if parsed.problems or parsed.questions:
        raise refuse(line, parsed.problems or parsed.questions)
    keep_set(desk.session, Bench(piece, None, "", ""), parsed.entry, gauges, desk.settings.now())


def _leave_batch(desk: Desk, line: Line) -> None:
    piece = _made_piece(desk, line)
    batch = desk.session.get_one(Batch, desk.batches[line.typed["batch"]])
    move_out(desk.session, batch, piece.id, left=True, now=desk.settings.now())


def _price(desk: Desk, line: Line) -> None:
    currency = get_shop(desk.session).currency
    fields = Fields(line.text(), currency=currency)
    minor = fields.money_minor("price")
    taken(line, fields.refused() or minor)
    batch = desk.session.get_one(Batch, desk.batches[line.typed["batch"]])
    prices = {_made_piece(desk, line).id: minor}
    save_prices(desk.session, batch, prices, currency, desk.settings.now())


def _let_go(desk: Desk, line: Line) -> None:
    piece, now = _made_piece(desk, line), desk.settings.now()
    at = MemoDesk(piece, None, own=True)
    keep_memo(desk.session, at, memo_of(desk, line), now, desk.customers[line.typed["to"]])


def _add_stock(desk: Desk, line: Line) -> None:
    keep(desk.session, Stock(**asdict(taken(line, parse_stock(line.text())))))


MAKING_DOERS: dict[str, Callable[[Desk, Line], None]] = {
    "gauge": _add_gauge,
    "check": _check,
    "study": _study,
    "wording": _word,
    "facing": _write_facing,
    "batch": _begin_batch,
    "read_made": _read_made,
    "leave_batch": _leave_batch,
    "price": _price,
    "let_go": _let_go,
    "stock": _add_stock,
}
