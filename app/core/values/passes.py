"""A pass: one spell at the bench, as the maker would note it."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.core.values.forms import Fields, Refused, plural

RAIL_ZONES = ("tip", "middle", "heel")


@dataclass(frozen=True, slots=True)
class CutKind:
    """A kind of cut: its label, and how a card says it was done.

    `rail` and `zone` say which rail, and which third of it, where a cut is on one rail only.
    """

    key: str
    label: str
    done: str
    rail: str = ""
    zone: str = ""


def rail_cut(rail: str, zone: str = "") -> str:
    """Return the key of a cut on one rail, all along it or in one third."""
    return f"{rail}_{zone or 'rail'}"


def _rail_kinds(rail: str) -> Iterator[CutKind]:
    for zone in ("", *RAIL_ZONES):
        yield CutKind(
            rail_cut(rail, zone),
            f"{rail} rail{', ' if zone else ''}{zone}",
            f"Worked on the {rail} rail by itself",
            rail,
            zone,
        )


CUT_KINDS: dict[str, CutKind] = {
    kind.key: kind
    for kind in (
        CutKind("flat", "flat on the plate", "Worked flat on the plate"),
        CutKind("tilted", "tilted toward the tip", "Worked on the plate, tilted toward the tip"),
        *_rail_kinds("left"),
        *_rail_kinds("right"),
        CutKind("tip_rail", "tip rail", "Worked on the tip rail"),
        CutKind("baffle", "baffle", "Worked on the baffle"),
        CutKind("chamber", "chamber", "Worked in the chamber"),
        CutKind("bore", "bore", "Worked on the bore"),
        CutKind("table", "table flattening", "Worked on the table, to flatten it"),
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


# grade systems as a grit is written: FEPA's P-grades (ISO 6344), CAMI (ANSI B74.18), JIS, and
# sizes of grain; the standards' names from memory. A bare number says none, and is kept apart
_GRADES: tuple[tuple[str, str], ...] = (
    (r"(?:fepa)?p(\d{2,4})(?:fepa)?|fepa(\d{2,4})", "P{}"),
    (r"(?:cami|ansi|us)(\d{2,4})|(\d{2,4})(?:cami|ansi)", "CAMI {}"),
    (r"(?:jis|j)#?(\d{2,5})|#?(\d{2,5})(?:jis)", "JIS {}"),
    (r"(\d{1,3}(?:\.\d{1,2})?)(?:µm|μm|um|micron|microns)", "{} µm"),
    (r"#?(\d{1,5})(?:grit|grain)?", "{}"),
)


def grade_of(grit: str) -> str:
    """Return a grit with its grade system written one way: P600, CAMI 600, 600, 9 µm.

    Systems stay apart: a P600 is coarser than a CAMI 600. Anything else is kept, spaces joined.
    """
    text = "".join(grit.split()).casefold().replace(",", ".").replace("-", "")
    for pattern, written in _GRADES:
        if match := re.fullmatch(pattern, text):
            return written.format(next(part for part in match.groups() if part))
    return text


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
    """Say for a player what was done: a sentence for each kind of cut noted, the first first."""
    counts = Counter(CUT_KINDS[bench_pass.kind].done for bench_pass in passes)
    return tuple(
        f"{done}, in {counts[done]} passes." if counts[done] > 1 else f"{done}." for done in counts
    )


def say_done(passes: Sequence[PassEntry]) -> str:
    """Say for a maker what was done: passes by kind of cut, with strokes and papers."""
    done = []
    for key in dict.fromkeys(bench_pass.kind for bench_pass in passes):
        kind = CUT_KINDS[key]
        of_kind = [bench_pass for bench_pass in passes if bench_pass.kind == key]
        papers = dict.fromkeys(
            f"{bench_pass.abrasive} {bench_pass.grit}".strip()
            for bench_pass in of_kind
            if bench_pass.abrasive or bench_pass.grit
        )
        strokes = sum(bench_pass.strokes or 0 for bench_pass in of_kind)
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
