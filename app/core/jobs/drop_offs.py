"""A drop-off: one customer and any number of their pieces, which together are one order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.core.jobs.jobs import RETURN_WAYS, Ticks, read_days, read_ticks
from app.core.values.customers import CustomerEntry, InstrumentEntry, read_customer, read_instrument
from app.core.values.forms import Fields, Refused
from app.core.values.pieces import PieceEntry, read_piece

MOST_PIECES = 24  # that are new to the book, in one drop-off
_FILLED_DOWN = ("instrument_kind", "maker", "model", "material")
_NAMED_BY = ("maker", "model", "marking", "telling_marks", "asked")


@dataclass(frozen=True, slots=True)
class JobEntry:
    """What is written down when a piece is taken in or agreed to come; money in minor units."""

    request: str
    ticks: Ticks
    condition_notes: str
    dropped_off: date
    wanted_by: date | None
    return_by: str
    declared_value_minor: int | None = None
    played_with: str = ""
    agreed_price_minor: int | None = None
    deposit_minor: int | None = None
    expected: bool = False
    expected_on: date | None = None


@dataclass(frozen=True, slots=True)
class PieceDrop:
    """A piece of the drop-off, a known record's id or new, and what is asked of it alone.

    `row` is where a new one was typed.
    """

    piece: int | PieceEntry
    asked: str
    row: int = 0
    passes_on: bool = False  # a known piece that comes with another owner


@dataclass(frozen=True, slots=True)
class DropOff:
    """The whole drop-off page: customer and instrument are a known record's id or a new entry.

    `services` are labels of the price list; `job` is what holds for the order as a whole.
    """

    customer: int | CustomerEntry
    pieces: tuple[PieceDrop, ...]
    instrument: int | InstrumentEntry | None
    job: JobEntry
    services: tuple[str, ...] = ()

    def job_of(self, at: int) -> JobEntry:
        """The entry of one piece: the order's money stands with the first alone."""
        entry = replace(self.job, request=self.pieces[at].asked or self.job.request)
        if at == 0:
            return entry
        return replace(
            entry, declared_value_minor=None, agreed_price_minor=None, deposit_minor=None
        )


def row_prefix(row: int) -> str:
    """Name what the fields of a new piece begin with; row 1 is the first."""
    return "piece_" if row == 1 else f"piece{row}_"


def count_rows(raw: Mapping[str, str], more: int = 0) -> int:
    """Count the rows for new pieces that the page has, and so many more if asked."""
    text = raw.get("rows", "")
    rows = int(text) if text.isdecimal() and len(text) < 4 else 1
    return max(1, min(rows + more, MOST_PIECES))


def parse_drop_off(
    raw: Mapping[str, str],
    ticked: Mapping[str, Sequence[str]],
    today: date,
    currency: str = "",
) -> DropOff | Refused:
    """Read the drop-off page; `ticked` are ticked lines by kind, known pieces and services."""
    fields = Fields(fill_down(raw), currency=currency)
    customer: int | CustomerEntry
    customer_id = raw.get("customer", "")
    if customer_id in {"", "new"}:
        customer = read_customer(fields, "customer_")
        if not customer_id and not customer.name:
            fields.problems.pop("customer_name", None)
            fields.refuse("find", "Find the customer by name or telephone, or write a new name.")
    else:
        customer = fields.number_of("customer", needed="Choose the customer.") or 0
    entry = DropOff(
        customer,
        _read_pieces(fields, ticked.get("piece") or [raw.get("piece", "")]),
        _read_played_on(fields),
        _read_job(fields, ticked, today),
        tuple(dict.fromkeys(label for label in ticked.get("service", ()) if label.strip())),
    )
    return fields.refused() or entry


def fill_down(raw: Mapping[str, str]) -> dict[str, str]:
    """Fill the table of new pieces: what a line leaves empty stands in it as in the line before.

    A model goes along only where the maker stays; a dash is an empty cell. Marking and what is
    asked are each piece's own, and a line without anything is no piece.
    """
    filled = dict(raw)
    above: dict[str, str] = {}
    for row in range(1, count_rows(raw) + 1):
        prefix = row_prefix(row)
        own = {name: raw.get(f"{prefix}{name}", "").strip() for name in _FILLED_DOWN}
        if row > 1 and not any(raw.get(f"{prefix}{name}", "").strip() for name in _NAMED_BY):
            continue
        another = own["maker"] not in {"", above.get("maker", "")}
        for name, text in own.items():
            if text in {"-", "–", "—"}:
                own[name] = ""
            elif not text and not (name == "model" and another):
                own[name] = above.get(name, "")
            filled[f"{prefix}{name}"] = own[name]
        above = own
    return filled


def same_name(row: int) -> str:
    """Name the field that says which known piece a row tells of; "none" where it is another."""
    return "same_piece" if row == 1 else f"same_piece{row}"


def _read_pieces(fields: Fields, known: Sequence[str]) -> tuple[PieceDrop, ...]:
    """Read the known pieces that are ticked, and the rows in which something is typed."""
    ids = dict.fromkeys(int(text) for text in known if text.isdecimal() and len(text) < 10)
    pieces = [PieceDrop(piece_id, "") for piece_id in ids]
    for row in range(1, count_rows(fields.raw) + 1):
        prefix, name = row_prefix(row), same_name(row)
        asked = fields.text(f"{prefix}asked", limit=5000)
        typed = any(fields.raw.get(f"{prefix}{name}", "").strip() for name in _NAMED_BY)
        if fields.raw.get(name, "") not in {"", "none"}:
            same = fields.number_of(name) or 0
            if same in ids:
                fields.refuse(name, "It is in this order already. A piece comes once in an order.")
            ids[same] = None
            pieces.append(PieceDrop(same, asked, passes_on=True))
        elif typed or (row == 1 and not ids):
            pieces.append(PieceDrop(read_piece(fields, prefix), asked, row))
    return tuple(pieces)


def _read_played_on(fields: Fields) -> int | InstrumentEntry | None:
    chosen = fields.raw.get("instrument", "new")
    if chosen not in {"", "new", "none"}:
        return fields.number_of("instrument")
    if chosen == "none" or not fields.raw.get("instrument_kind", ""):
        return None
    return read_instrument(fields, "instrument_")


def _read_job(fields: Fields, ticked: Mapping[str, Sequence[str]], today: date) -> JobEntry:
    expected_on = fields.date("expected_on")
    expected = fields.raw.get("here") == "expected" or expected_on is not None
    dropped_off, wanted_by = read_days(fields, today, today)
    if expected_on and expected_on < today:
        fields.refuse("expected_on", "It can't be expected on a day gone by.")
    if expected_on and wanted_by and wanted_by < expected_on:
        fields.refuse("wanted_by", "It can't be wanted before it is expected.")
    return JobEntry(
        request=fields.text("request", limit=5000),
        ticks=read_ticks(fields, ticked),
        condition_notes=fields.text("condition_notes", limit=5000),
        dropped_off=today if expected else dropped_off,
        wanted_by=wanted_by,
        return_by=fields.choice(
            "return_by", RETURN_WAYS, words="Say how it goes home.", default="hand"
        ),
        declared_value_minor=fields.money_minor("declared_value"),
        played_with=fields.text("played_with", limit=400),
        agreed_price_minor=fields.money_minor("agreed_price"),
        deposit_minor=fields.money_minor("deposit"),
        expected=expected,
        expected_on=expected_on,
    )
