"""Memos: what is written down beside a piece or its job, by one table of kinds and their fields.

A memo may await something (`due`): a parcel, a trial to come home, a player to be asked. What was
written is kept as text by field, amounts with their currency, so that it says the same for ever.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.core.values.forms import Fields, Refused, format_date, format_money
from app.core.values.units import NotANumber, format_number, parse_number

MOMENTS = {"before": "before the work", "between": "during the work", "after": "after the work"}
AWAY = {"trial": "on trial with the player", "workshop": "at another workshop"}
# how it blows beside before the work; the keys are the verdicts of `effort_words`
FEELS = {"easier": "it blows easier", "alike": "it blows as before", "harder": "it blows harder"}
ANSWERS = {"accepted": "accepted", "declined": "declined"}
WAYS = {"in": "it comes", "out": "it goes out"}
CUSTOMS = {"contents": "Contents", "worth": "Value", "origin": "Origin"}  # on a parcel's note
SENT_BY = {"mail": "by e-mail", "text": "by text message", "phone": "by telephone",
           "letter": "by letter"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class MemoField:
    """A field of a memo: text, lines, money, seconds, jobs of its order, or one of its choices.

    `needed` is what is asked for where it is empty.
    """

    name: str
    label: str
    reads: str = "text"
    needed: str = ""
    choices: Mapping[str, str] | None = None
    hint: str = ""


@dataclass(frozen=True, slots=True)
class MemoKind:
    """A kind of memo: its labels and fields; `due` and `done` say what it awaits, if anything.

    `opens` unfolds its form. `about` names the pages it is written on, `to` who it goes to where
    a customer is chosen, `came` says that what was awaited came. What is `of_order` belongs to
    all pieces of an order. `page` is where it stands.
    """

    key: str
    label: str
    opens: str
    button: str
    fields: tuple[MemoField, ...]
    about: tuple[str, ...] = ("job", "piece")
    due: str = ""
    due_needed: bool = False
    done: str = ""
    came: str = ""
    answer: str = ""
    to: str = ""
    hint: str = ""
    of_order: bool = False
    page: str = "memos"


MEMO_KINDS: dict[str, MemoKind] = {
    kind.key: kind
    for kind in (
        MemoKind("trial", "On trial", "Send it out on trial", "It goes out on trial", (
            MemoField("note", "What was agreed", "lines"),
        ), ("sale",), "Due back", True, "It came home", "came home", to="Who tries it"),
        MemoKind("sale", "Sold", "Sell it", "It is sold", (
            MemoField("price", "Price", "money", "Write the price."),
        ), ("sale",), to="Who buys it"),
        MemoKind("play_test", "Play-tests", "A play-test", "Keep the play-test", (
            MemoField("who", "Who played", needed="Write who played it."),
            MemoField("instrument", "On which instrument"),
            MemoField("set_up", "Reed and set-up"),
            MemoField("said", "What was said", "lines", "Write what was said."),
            MemoField("feel", "With the same reed, beside before the work", choices=FEELS,
                      hint="Ask before you tell what was worked out."),
        )),
        MemoKind("seal", "Suction tests", "A suction test", "Keep the suction test", (
            MemoField("moment", "When", needed="Choose one.", choices=MOMENTS),
            MemoField("seconds", "The reed held for, seconds", "seconds",
                      "Write how many seconds it held."),
            MemoField("with", "Reed, and how it was closed"),
        ), hint="Wet the reed, close the shank with the palm, draw the air out, and count until "
                "the reed lets go. Take the same reed before and after. Disinfect it first."),
        MemoKind("away", "Out of the shop", "Send it out", "It goes out", (
            MemoField("where", "It goes", needed="Choose one.", choices=AWAY),
            MemoField("whom", "To whom", hint="The plater, a colleague, the player."),
            MemoField("what", "What for", "lines"),
        ), ("job",), "Due back", True, "It came home", "came home"),
        MemoKind("quote", "Quotes", "", "", (
            MemoField("amount", "Amount"),
            MemoField("answer", "Answer", choices=ANSWERS),
            MemoField("by", "Answered"),
        ), (), "Good until", came="answered", of_order=True, page="charges"),
        MemoKind("parcel", "Parcels", "A parcel", "Keep the parcel", (
            MemoField("way", "Which way", needed="Choose one.", choices=WAYS),
            MemoField("jobs", "In it, jobs", "jobs"),
            MemoField("carrier", "Carrier"),
            MemoField("number", "Tracking number"),
            MemoField("declared", "Insured for", "money"),
            MemoField("contents", "Contents, for customs",
                      hint="Such as “clarinet mouthpiece, hard rubber, used, after repair”."),
            MemoField("worth", "Value for customs", "money"),
            MemoField("origin", "Country of origin"),
        ), due="Expected by", done="It arrived", came="arrived", of_order=True),
        MemoKind("warranty", "Warranty", "A warranty", "Keep the warranty", (
            MemoField("covers", "What it covers", "lines"),
        ), ("job",), "Until", due_needed=True),
        MemoKind("asking", "After it went home", "Ask later how it plays", "Remind me", (
            MemoField("what", "What to ask"),
        ), ("job",), "Ask on", True, "Keep the answer", "answered", "What they said"),
        MemoKind("message", "Messages sent", "", "", (
            MemoField("by", "Sent", choices=SENT_BY),
            MemoField("to", "To"),
            MemoField("subject", "Subject", needed="There is no message to keep."),
            MemoField("body", "Text", "lines"),
        ), (), page="messages"),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class MemoEntry:
    """A memo as typed."""

    kind: str
    on: date
    due: date | None
    details: Mapping[str, str]


def parse_memo(
    kind: MemoKind, raw: Mapping[str, str], today: date, currency: str = ""
) -> MemoEntry | Refused:
    """Read a memo's form; its fields begin with the kind's key."""
    fields = Fields(raw, currency=currency)
    on = fields.date(f"{kind.key}_on") or today
    if on > today:
        fields.refuse(f"{kind.key}_on", "That day is still to come.")
    needed = f"Write the day: {kind.due.lower()} …" if kind.due_needed else ""
    due = fields.date(f"{kind.key}_due", needed=needed) if kind.due else None
    if due and due < on:
        fields.refuse(f"{kind.key}_due", f"“{kind.due}” can’t be before {format_date(on)}.")
    details = {
        field.name: _read(fields, f"{kind.key}_{field.name}", field) for field in kind.fields
    }
    return fields.refused() or MemoEntry(kind.key, on, due, details)


def _read(fields: Fields, name: str, field: MemoField) -> str:
    if field.choices:
        allowed = field.choices if field.needed else {"": "", **field.choices}
        return fields.choice(name, allowed, words=field.needed or "Choose one, or none.")
    if field.reads == "money":
        minor = fields.money_minor(name)
        if minor is None and field.needed:
            fields.refuse(name, field.needed)
        return format_money(minor, fields.currency)
    text = fields.text(name, needed=field.needed, limit=20_000 if field.reads == "lines" else 200)
    if field.reads == "seconds" and text:
        try:
            seconds = float(parse_number(text.removesuffix("s")))
        except NotANumber:
            seconds = -1.0
        if not 0.0 <= seconds <= 600.0:
            fields.refuse(name, f"“{text[:40]}” is not a count of seconds. Write it like 8.5.")
        return format_number(seconds, 1)
    return text


def tell_memo(kind: MemoKind, details: Mapping[str, str]) -> list[tuple[str, str]]:
    """Say what a memo holds, as labels and words; what was left empty is left out."""
    written = [(field, details.get(field.name, "")) for field in kind.fields]
    rows = [(field.label, (field.choices or {}).get(text, text)) for field, text in written]
    return [(label, words) for label, words in (*rows, (kind.answer, details.get("answer", "")))
            if words]  # fmt: skip


def jobs_in(details: Mapping[str, str]) -> list[str]:
    """List the numbers of the jobs whose pieces a parcel holds; none where it holds all it can."""
    return [number for number in details.get("jobs", "").split(", ") if number]


def tell_seal(tests: Mapping[str, str]) -> str:
    """Say the last suction tests before and after beside each other; `tests` by moment."""
    if not {"before", "after"} <= tests.keys():
        return ""
    return f"The reed held for {tests['before']} s before the work and {tests['after']} s after it."
