"""A job: one piece, brought once, from drop-off to return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.core.jobs.stages import STAGES
from app.core.values.forms import Fields, Refused


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


def read_ticks(
    fields: Fields, ticked: Mapping[str, Sequence[str]], *, at_drop_off: bool = True
) -> Ticks:
    """Read the ticked lines, and those written beside each list with commas between them."""
    ticks = (
        (key, " ".join(line.split())[:80])
        for key, kind in TICK_KINDS.items()
        if kind.at_drop_off == at_drop_off
        for line in (*ticked.get(key, ()), *fields.text(f"{key}_more").split(","))
        if line.strip()
    )
    return tuple(dict.fromkeys(ticks))


def read_days(fields: Fields, known: date, today: date) -> tuple[date, date | None]:
    """Read the day it came, which is the one known unless it is written, and that it is wanted."""
    written = bool(fields.raw.get("dropped_off", "").strip())
    dropped_off = fields.past_day("dropped_off", today, "A drop-off") if written else known
    wanted_by = fields.date("wanted_by")
    if wanted_by and wanted_by < dropped_off:
        fields.refuse("wanted_by", "It can't be wanted before it was dropped off.")
    return dropped_off, wanted_by


def parse_agreed(
    raw: Mapping[str, str],
    ticked: Mapping[str, Sequence[str]],
    days: tuple[date, date],
    currency: str = "",
) -> AgreedEntry | Refused:
    """Read the job's own edit page; `days` are the day it came, as known so far, and today."""
    fields = Fields(raw, currency=currency)
    came, today = days
    dropped_off, wanted_by = read_days(fields, came, today)
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
