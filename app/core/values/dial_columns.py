"""Dial readings as typed, pasted or read from a file: a column of two numbers a line.

Each line is a position from the tip in mm and the gap the dial shows there. The two stand apart
by spaces, a tab or a semicolon; a comma serves where the numbers have decimal points. Lines that
begin with # are notes, and a first line without a figure is a heading. All lines that can't be
read are named together.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.core.values.forms import Fields
from app.core.values.readings import FURTHEST_MM, ReadingEntry
from app.core.values.units import SCALES, NotANumber, Scale, format_mm, parse_length

RAILS: tuple[str, str] = ("left", "right")
DIAL_SCALES: dict[str, str] = {key: SCALES[key].label for key in ("length_mm", "length_in")}
MOST_LINES = 60
MOST_CHARACTERS = 20_000
WIDEST_MM = 12.0
BELOW_ZERO_MM = 0.1  # a dial may stand a little under its zero; more is a zero set wrong
RISES_MM = 0.03
MINUS = re.compile(r"^[-−–]\s*")
_LONE_UNIT = re.compile(r"(?<=\d)\s+(mm|in|inch|inches)(?![a-z])", re.IGNORECASE)
_SAID_AT_ONCE = 4


@dataclass(frozen=True, slots=True)
class DialLine:
    """One line: the two numbers as typed, and in mm."""

    position_typed: str
    gap_typed: str
    position_mm: float
    gap_mm: float


class LineRefused(ValueError):  # noqa: N818 - a refusal in words, not a programming error
    """A line that isn't a position and a gap; the message says why."""


def parse_column(text: str, scale: Scale) -> tuple[list[DialLine], list[str]]:
    """Read a column: the lines that can be read, and what is wrong with the others, in words."""
    if len(text) > MOST_CHARACTERS:
        return [], [f"That is more than a column of {MOST_LINES} readings can be."]
    lines: list[DialLine] = []
    problems: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        shown = line.strip()
        heading = number == 1 and not re.search(r"\d", shown)
        if not shown or shown.startswith("#") or heading:
            continue
        try:
            dial = _parse_line(shown, scale)
            if any(abs(dial.position_mm - earlier.position_mm) < 0.005 for earlier in lines):
                raise LineRefused(f"the position {dial.position_typed} stands there twice.")
            lines.append(dial)
        except LineRefused as error:
            problems.append(f"Line {number}: {error}")
    if len(lines) > MOST_LINES:
        problems.append(f"There are {len(lines)} readings; at most {MOST_LINES} a rail are kept.")
    return lines, problems


def _parse_line(line: str, scale: Scale) -> DialLine:
    parts = _split(_LONE_UNIT.sub(r"\1", line))
    if len(parts) != 2:
        said = "is one number" if len(parts) == 1 else f"has {len(parts)} parts"
        raise LineRefused(f"“{line[:40]}” {said}; write a position and a gap, as 12.5 0.31.")
    position_typed, gap_typed = parts
    try:
        position_mm = parse_length(position_typed, SCALES["length_mm"])
        sign = -1.0 if MINUS.match(gap_typed) else 1.0
        gap_mm = sign * parse_length(MINUS.sub("", gap_typed), scale)
    except NotANumber as error:
        raise LineRefused(str(error)) from error
    if position_mm > FURTHEST_MM:
        raise LineRefused(f"{position_typed} is {format_mm(position_mm, 0)} mm: beyond any facing.")
    if gap_mm > WIDEST_MM:
        raise LineRefused(f"a gap of {gap_typed} is {format_mm(gap_mm, 1)} mm: not a mouthpiece’s.")
    if gap_mm < -BELOW_ZERO_MM:
        raise LineRefused(f"{gap_typed} is far below zero; set the dial’s zero on the table.")
    return DialLine(position_typed, gap_typed, position_mm, gap_mm)


def _split(line: str) -> list[str]:
    for sign in ("\t", ";"):
        if sign in line:
            parts = line.split(sign)
            break
    else:
        parts = [part.removesuffix(",") for part in line.split()]
        if len(parts) == 1 and "," in line:
            if line.count(",") > 1 or "." not in line:
                raise LineRefused(
                    f"“{line[:40]}” could be one number or two. Put a space between position "
                    "and gap."
                )
            parts = line.split(",")
    return [_unquoted(part.strip()) for part in parts if part.strip()]


def _unquoted(part: str) -> str:
    quoted = len(part) > 2 and part[0] == part[-1] == '"'
    return part[1:-1] if quoted else part


def fill_dials(raw: Mapping[str, str]) -> dict[str, str]:
    """Put a file's text where its column would be typed; a problem comes back beside it."""
    filled = dict(raw)
    for rail in RAILS:
        text, typed = raw.get(f"dial_{rail}_file", "").strip(), raw.get(f"dial_{rail}", "").strip()
        if text and typed and text.split() != typed.split():
            filled[f"dial_{rail}_problem"] = (
                "There is a column and a file for one rail. The column stands here; empty it and "
                "choose the file again, or leave the file out."
            )
        elif text:
            filled[f"dial_{rail}"] = text
    return filled


def dial_scale(raw: Mapping[str, str]) -> Scale:
    """The scale the dial is read on."""
    key = raw.get("dial_scale", "")
    return SCALES[key if key in DIAL_SCALES else "length_mm"]


def read_dials(fields: Fields) -> list[ReadingEntry]:
    """Read both rails' columns; `fields.raw` went through `fill_dials` before."""
    readings: list[ReadingEntry] = []
    scale = dial_scale(fields.raw)
    for rail in RAILS:
        name = f"dial_{rail}"
        if words := fields.raw.get(f"{name}_problem"):
            fields.refuse(name, words)
        lines, problems = parse_column(fields.raw.get(name, ""), scale)
        if problems:
            more = len(problems) - _SAID_AT_ONCE
            said = [*problems[:_SAID_AT_ONCE], *([f"And {more} more."] if more > 0 else [])]
            fields.refuse(name, " ".join(said))
        readings += [
            ReadingEntry(
                "dial", rail, None, None, line.position_mm, line.gap_typed, scale.key,
                line.gap_mm, "", line.position_typed,
            )
            for line in lines
        ]  # fmt: skip
    return readings


def ask_unusual_dials(readings: Sequence[ReadingEntry]) -> dict[str, str]:
    """Ask about a gap that grows away from the tip: often two columns or two lines swapped."""
    questions: dict[str, str] = {}
    for rail in RAILS:
        dials = sorted(
            (
                reading
                for reading in readings
                if reading.quantity == "dial" and reading.rail == rail
            ),
            key=lambda reading: reading.depth_mm or 0.0,
        )
        for near, far in pairwise(dials):
            if far.value_mm > near.value_mm + RISES_MM:
                questions[f"dial_{rail}"] = (
                    f"{rail.capitalize()} rail by dial: the gap grows away from the tip, from "
                    f"{near.typed} at {near.depth_typed} to {far.typed} at {far.depth_typed}."
                )
                break
    return questions


def dial_cells(readings: Sequence[ReadingEntry]) -> dict[str, str]:
    """Write kept dial readings as the columns they were typed as."""
    cells: dict[str, str] = {}
    for rail in RAILS:
        dials = [reading for reading in readings if reading.rail == rail]
        if dials:
            cells[f"dial_{rail}"] = "\n".join(
                f"{reading.depth_typed}  {reading.typed}" for reading in dials
            )
            cells["dial_scale"] = dials[0].scale
    return cells
