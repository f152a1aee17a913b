"""A job: one piece, brought once, from drop-off to return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.core.jobs.stages import STAGES
from app.core.values.customers import CustomerEntry, InstrumentEntry, read_customer, read_instrument
from app.core.values.forms import Fields, Refused
from app.core.values.pieces import PieceEntry, read_piece


@dataclass(frozen=True, slots=True)
class TickKind:
    """A list of lines to tick: its labels, and the lines that every book offers."""

    key: str
    label: str
    more: str
    usual: tuple[str, ...]
    at_drop_off: bool = True


TICK_KINDS: dict[str, TickKind] = {
    kind.key: kind
    for kind in (
        TickKind("complaint", "What is wrong with how it plays", "More that is wrong", (
            "squeaks", "stuffy", "hard", "thin", "uneven", "leaks", "tires the lip",
            "slow to speak",
        )),
        TickKind("condition", "Condition", "More conditions", (
            "chipped tip rail", "chipped side rail", "bite marks on the beak", "table not flat",
            "scratches on the table", "discoloured", "cracked", "worn or loose cork", "loose ring",
            "refaced before", "needs cleaning",
        )),
        TickKind("came_with", "Came with", "More that came with it", (
            "cap", "ligature", "reed", "case or pouch", "barrel",
        )),
        TickKind("risk", "Risks the player accepts", "More risks", (
            "old piece: may not be replaced", "glass: can break", "plating: will be cut through",
            "crack: may run on",
        )),
        TickKind("finding", "Found at the bench", "More that was found", (
            "table hollow", "table high at one side", "rails uneven", "rail nicked",
            "tip rail uneven", "tip rail worn", "baffle rough", "crack", "cork leaks", "nothing",
        ), at_drop_off=False),
    )
}  # fmt: skip
# A saxophone's mouthpiece has no cork of its own.
CORK_LINES = frozenset({"worn or loose cork", "cork leaks"})
NO_CORK = "A saxophone’s mouthpiece has no cork: it is on the neck."
OUTCOMES: dict[str, str] = {"better": "better", "same": "the same", "worse": "worse"}

Ticks = tuple[tuple[str, str], ...]  # kind and line

RETURN_WAYS: dict[str, str] = {"hand": "by hand", "post": "by post"}


@dataclass(frozen=True, slots=True)
class JobEntry:
    """What is written down when a piece is taken in; money in minor units."""

    request: str
    ticks: Ticks
    condition_notes: str
    declared_value_minor: int | None
    dropped_off: date
    wanted_by: date | None
    return_by: str


@dataclass(frozen=True, slots=True)
class DropOff:
    """The whole drop-off page: each of the first three is a known record's id or a new entry."""

    customer: int | CustomerEntry
    piece: int | PieceEntry
    instrument: int | InstrumentEntry | None
    job: JobEntry
    passes_on: bool = False  # a known piece that comes with another owner


@dataclass(frozen=True, slots=True)
class AgreedEntry:
    """What maker and player agreed, and the rest of the job that can still change."""

    request: str
    ticks: Ticks
    condition_notes: str
    declared_value_minor: int | None
    dropped_off: date
    wanted_by: date | None
    return_by: str
    tracking: str
    agreed_work: str
    agreed_on: date
    agreed_price_minor: int | None
    deposit_minor: int | None


@dataclass(frozen=True, slots=True)
class NoteEntry:
    """A plain dated note."""

    on: date
    words: str


def parse_drop_off(
    raw: Mapping[str, str],
    ticked: Mapping[str, Sequence[str]],
    today: date,
    currency: str = "",
) -> DropOff | Refused:
    """Read the drop-off page; `ticked` are the ticked lines by kind."""
    fields = Fields(raw, currency=currency)
    customer: int | CustomerEntry
    customer_id = raw.get("customer", "")
    if customer_id in {"", "new"}:
        customer = read_customer(fields, "customer_")
        if not customer_id and not customer.name:
            fields.problems.pop("customer_name", None)
            fields.refuse("find", "Find the customer by name or telephone, or write a new name.")
    else:
        customer = fields.number_of("customer", needed="Choose the customer.") or 0
    piece: int | PieceEntry
    passes_on = raw.get("same_piece", "") not in {"", "none"}
    if passes_on:
        piece = fields.number_of("same_piece") or 0
    elif raw.get("piece", "new") in {"", "new"}:
        piece = read_piece(fields, "piece_")
    else:
        piece = fields.number_of("piece", needed="Choose the piece.") or 0
    played_on, job = _read_played_on(fields), _read_job(fields, ticked, today)
    return fields.refused() or DropOff(customer, piece, played_on, job, passes_on)


def _read_played_on(fields: Fields) -> int | InstrumentEntry | None:
    chosen = fields.raw.get("instrument", "new")
    if chosen not in {"", "new", "none"}:
        return fields.number_of("instrument")
    if chosen == "none" or not fields.raw.get("instrument_kind", ""):
        return None
    return read_instrument(fields, "instrument_")


def read_ticks(
    fields: Fields, ticked: Mapping[str, Sequence[str]], *, at_drop_off: bool = True
) -> Ticks:
    """Read the ticked lines, and those written beside each list with commas between them."""
    found = (
        (key, " ".join(line.split())[:80])
        for key, kind in TICK_KINDS.items()
        if kind.at_drop_off == at_drop_off
        for line in (*ticked.get(key, ()), *fields.text(f"{key}_more").split(","))
        if line.strip()
    )
    return tuple(dict.fromkeys(found))


def _read_days(fields: Fields, known: date, today: date) -> tuple[date, date | None]:
    written = bool(fields.raw.get("dropped_off", "").strip())
    dropped_off = fields.past_day("dropped_off", today, "A drop-off") if written else known
    wanted_by = fields.date("wanted_by")
    if wanted_by and wanted_by < dropped_off:
        fields.refuse("wanted_by", "It can't be wanted before it was dropped off.")
    return dropped_off, wanted_by


def _read_job(fields: Fields, ticked: Mapping[str, Sequence[str]], today: date) -> JobEntry:
    dropped_off, wanted_by = _read_days(fields, today, today)
    return JobEntry(
        request=fields.text("request", limit=5000),
        ticks=read_ticks(fields, ticked),
        condition_notes=fields.text("condition_notes", limit=5000),
        declared_value_minor=fields.money_minor("declared_value"),
        dropped_off=dropped_off,
        wanted_by=wanted_by,
        return_by=fields.choice(
            "return_by", RETURN_WAYS, words="Say how it goes home.", default="hand"
        ),
    )


def parse_agreed(
    raw: Mapping[str, str],
    ticked: Mapping[str, Sequence[str]],
    days: tuple[date, date],
    currency: str = "",
) -> AgreedEntry | Refused:
    """Read the job's own edit page; `days` are the day it came, as known so far, and today."""
    fields = Fields(raw, currency=currency)
    came, today = days
    dropped_off, wanted_by = _read_days(fields, came, today)
    entry = AgreedEntry(
        request=fields.text("request", limit=5000),
        ticks=read_ticks(fields, ticked),
        condition_notes=fields.text("condition_notes", limit=5000),
        declared_value_minor=fields.money_minor("declared_value"),
        dropped_off=dropped_off,
        wanted_by=wanted_by,
        return_by=fields.choice(
            "return_by", RETURN_WAYS, words="Say how it goes home.", default="hand"
        ),
        tracking=fields.text("tracking"),
        agreed_work=fields.text("agreed_work", limit=5000),
        agreed_on=fields.past_day("agreed_on", today, "An agreement", dropped_off),
        agreed_price_minor=fields.money_minor("agreed_price"),
        deposit_minor=fields.money_minor("deposit"),
    )
    return fields.refused() or entry


def parse_note(raw: Mapping[str, str], today: date) -> NoteEntry | Refused:
    """Read a plain note."""
    fields = Fields(raw)
    on = fields.past_day("note_on", today, "A note")
    entry = NoteEntry(on, fields.text("note", needed="Write the note first.", limit=5000))
    return fields.refused() or entry


def days_late(wanted_by: date | None, stage: str, today: date) -> int:
    """Count the days an open job is past the day it was wanted; 0 when it isn't."""
    if wanted_by is None or not STAGES[stage].open or stage == "ready":
        return 0
    return max(0, (today - wanted_by).days)


def say_wanted(wanted_by: date | None, stage: str, today: date) -> str:
    """Say in words how the day it is wanted stands to today."""
    if wanted_by is None:
        return "no date set"
    if late := days_late(wanted_by, stage, today):
        return f"{late} day{'s' if late != 1 else ''} overdue"
    left = (wanted_by - today).days
    if not STAGES[stage].open or left < 0:
        return ""
    return {0: "today", 1: "tomorrow"}.get(left, f"in {left} days")
