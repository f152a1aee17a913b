"""A pass: one spell at the bench, as the maker would note it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.core.values.forms import Fields, Refused, plural


@dataclass(frozen=True, slots=True)
class CutKind:
    """A kind of cut: its label, which way it takes the facing, and how a card says it was done."""

    key: str
    label: str
    done: str


CUT_KINDS: dict[str, CutKind] = {
    kind.key: kind
    for kind in (
        CutKind("flat", "flat on the plate", "Worked flat on the plate"),
        CutKind(
            "tilted",
            "tilted toward the tip",
            "Worked on the plate, tilted toward the tip",
        ),
        CutKind("left_rail", "left rail", "Worked on the left rail by itself"),
        CutKind("right_rail", "right rail", "Worked on the right rail by itself"),
        CutKind("tip_rail", "tip rail", "Worked on the tip rail"),
        CutKind("baffle", "baffle", "Shaped the baffle"),
        CutKind("chamber", "chamber", "Shaped the chamber"),
        CutKind("bore", "bore", "Worked on the bore"),
        CutKind(
            "table",
            "table flattening",
            "Flattened the table",
        ),
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


def parse_pass(
    raw: Mapping[str, str], today: date, came: date | None = None
) -> PassEntry | Refused:
    """Read the pass form; only the kind of cut is needed, so that it takes two touches."""
    fields = Fields(raw)
    done_on = fields.past_day("done_on", today, "A pass", came)
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


def tell_done(passes: Sequence[PassEntry]) -> tuple[str, ...]:
    """Say for a player what was done: a sentence for each kind of cut noted, and no more."""
    done = []
    for key, kind in CUT_KINDS.items():
        count = sum(one.kind == key for one in passes)
        if count:
            often = f", in {count} passes" if count > 1 else ""
            done.append(f"{kind.done}{often}.")
    return tuple(done)


def say_done(passes: Sequence[PassEntry]) -> str:
    """Say for a maker what was done: passes gathered by kind of cut, with strokes and papers."""
    done = []
    for key, kind in CUT_KINDS.items():
        of_kind = [one for one in passes if one.kind == key]
        if not of_kind:
            continue
        papers = dict.fromkeys(
            f"{one.abrasive} {one.grit}".strip() for one in of_kind if one.abrasive or one.grit
        )
        strokes = sum(one.strokes or 0 for one in of_kind)
        text = f"{kind.label.capitalize()}: {plural(len(of_kind), 'pass', 'passes')}"
        if strokes:
            text += f", {plural(strokes, 'stroke')}"
        if papers:
            text += f" ({', '.join(papers)})"
        done.append(f"{text}.")
    return " ".join(done)


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
