"""A pass: one spell at the bench, as the maker would note it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.core.values.forms import Fields, Refused


@dataclass(frozen=True, slots=True)
class CutKind:
    """A kind of cut: its label and which way it takes the facing."""

    key: str
    label: str
    effect: str


CUT_KINDS: dict[str, CutKind] = {
    kind.key: kind
    for kind in (
        CutKind("flat", "flat on the plate", "closes the facing"),
        CutKind("tilted", "tilted toward the tip", "opens the facing"),
        CutKind("left_rail", "left rail", "opens the left side"),
        CutKind("right_rail", "right rail", "opens the right side"),
        CutKind("tip_rail", "tip rail", "opens or thins the tip"),
        CutKind("baffle", "baffle", "shapes the space behind the tip"),
        CutKind("chamber", "chamber", "shapes the chamber"),
        CutKind("bore", "bore", "widens the bore"),
        CutKind("table", "table flattening", "flattens the table and closes the facing"),
    )
}

ABRASIVES: tuple[str, ...] = (
    "wet abrasive paper",
    "dry abrasive paper",
    "lapping film",
    "bare file",
    "file wrapped in paper",
    "stone",
    "scraper",
)


@dataclass(frozen=True, slots=True)
class PassEntry:
    """A pass as typed."""

    done_on: date
    kind: str
    abrasive: str
    grit: str
    strokes: int | None
    minutes: int | None
    note: str


def parse_pass(raw: Mapping[str, str], today: date) -> PassEntry | Refused:
    """Read the pass form; only the kind of cut is needed, so that it takes two touches."""
    fields = Fields(raw)
    done_on = fields.date("done_on") or today
    if done_on > today:
        fields.refuse("done_on", "A pass can't be dated in the future.")
    strokes, minutes = fields.number_of("strokes"), fields.number_of("minutes")
    if strokes is not None and strokes > 9999:
        fields.refuse("strokes", "That is more than 9999 strokes; write it as several passes.")
    if minutes is not None and minutes > 1440:
        fields.refuse("minutes", "A day has 1440 minutes.")
    entry = PassEntry(
        done_on=done_on,
        kind=fields.choice("kind", CUT_KINDS, words="Choose the kind of cut."),
        abrasive=fields.text("abrasive", limit=80),
        grit=fields.text("grit", limit=40),
        strokes=strokes,
        minutes=minutes,
        note=fields.text("pass_note", limit=2000),
    )
    return fields.refused() or entry


def describe_pass(entry: PassEntry) -> str:
    """Say a pass in one line: tilted toward the tip, wet abrasive paper 600, 8 strokes."""
    parts = [CUT_KINDS[entry.kind].label]
    if paper := f"{entry.abrasive} {entry.grit}".strip():
        parts.append(paper)
    if entry.strokes:
        parts.append(f"{entry.strokes} stroke{'s' if entry.strokes != 1 else ''}")
    if entry.minutes:
        parts.append(f"{entry.minutes} min")
    return ", ".join(parts)
