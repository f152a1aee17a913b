"""A reading set as typed: from the grid or the notebook's one line to checked values.

A blade set is given thick to thin, the order of the bench. The grid has a cell for each blade and
rail; the notebook line (`35.5 23.5 12.5 6.5 / 1.11`, `35.5/34.5` where the rails differ) only fills
the grid.
Impossible orders are refused; unusual ones are asked about once.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from app.core.facing.evenness import blade_key
from app.core.gauges.hand_gauges import HandGauge, name_gauges
from app.core.values.dial_columns import ask_unusual_dials, fill_dials
from app.core.values.forms import Fields, plural
from app.core.values.lengths import ask_unusual_lengths, length_meanings, read_lengths
from app.core.values.readings import (
    FURTHEST_MM,
    NOT_READ,
    BladeStop,
    DialReading,
    FacingReadings,
    ReadingEntry,
)
from app.core.values.units import (
    NotANumber,
    Scale,
    format_blade,
    format_mm,
    format_on_scale,
    parse_number,
)

ROLES: dict[str, str] = {
    "as_received": "as received",
    "at_the_bench": "at the bench",
    "as_returned": "as returned",
    "reference": "for reference",
}
RAILS: tuple[str, str] = ("left", "right")
# How a shop, or a table that is brought in, looks at a rail that it calls left: what is left in
# the first is right in the other two.
RAIL_VIEWS: dict[str, str] = {
    "tip_up": "table facing you, tip up",
    "tip_down": "table facing you, tip down",
    "beak": "beak facing you, tip up",
}


def are_turned(view: str, other: str) -> bool:
    """Whether what one of `RAIL_VIEWS` calls left is right in another."""
    return (view == "tip_up") != (other == "tip_up")


@dataclass(frozen=True, slots=True)
class Blade:
    """One blade of the set in use."""

    gauge_id: int
    gap_mm: float
    name: str = ""

    @property
    def label(self) -> str:
        """What the shop calls it, usually its thickness as engraved."""
        return self.name or format_blade(self.gap_mm)


@dataclass(frozen=True, slots=True)
class GaugesInUse:
    """What the grid is read with: blades thick to thin, and the three scales.

    `thin_first` is the order in which the shop reads and writes them, `rails_seen` how it looks
    at a rail (`RAIL_VIEWS`).
    """

    blades: tuple[Blade, ...]
    glass: Scale
    tip: Scale
    bore: Scale
    glass_id: int | None = None
    wedge_id: int | None = None
    bore_gauge_id: int | None = None
    blade_set_id: int | None = None
    hands: tuple[HandGauge, ...] = ()
    thin_first: bool = True
    rails_seen: str = "tip_up"

    @property
    def sides(self) -> str:
        """What is meant by left and right: seen with the table facing you, tip up."""
        return f"left and right with the {RAIL_VIEWS[self.rails_seen]}"

    @property
    def counted(self) -> str:
        """How the numbers count: half-millimetre numbers from the tip; left and right with …."""
        return f"{self.glass.label} from the tip; {self.sides}"

    @property
    def shown(self) -> tuple[Blade, ...]:
        """The blades in the order the shop reads and writes them."""
        return self.blades[::-1] if self.thin_first else self.blades


@dataclass(frozen=True, slots=True)
class UsualRange:
    """What is usual on one kind of instrument, in mm; common practice, no source."""

    tip_mm: tuple[float, float]
    facing_length_mm: tuple[float, float]
    bore_mm: tuple[float, float]


_CLARINET = UsualRange((0.85, 1.45), (12.0, 22.0), (13.5, 16.0))
USUAL: dict[str, UsualRange] = {
    "clarinet_ab": UsualRange((0.75, 1.30), (10.0, 18.0), (10.5, 14.0)),
    "clarinet_eb": UsualRange((0.80, 1.35), (11.0, 19.0), (12.0, 14.5)),
    "clarinet_d": UsualRange((0.80, 1.35), (11.0, 20.0), (12.0, 15.0)),
    "clarinet_c": _CLARINET,
    "clarinet_bb": _CLARINET,
    "clarinet_basset": _CLARINET,
    "basset_horn": UsualRange((0.95, 1.70), (14.0, 25.0), (14.0, 18.0)),
    "clarinet_alto": UsualRange((1.0, 1.9), (14.0, 26.0), (14.5, 19.0)),
    "clarinet_bass": UsualRange((1.3, 2.4), (17.0, 30.0), (16.5, 25.0)),
    "clarinet_contra_alto": UsualRange((1.4, 2.8), (18.0, 33.0), (17.0, 30.0)),
    "clarinet_contra": UsualRange((1.5, 3.2), (19.0, 36.0), (18.0, 32.0)),
    "sax_sopranino": UsualRange((0.9, 1.9), (12.0, 22.0), (10.0, 17.0)),
    "sax_soprano": UsualRange((1.0, 2.2), (14.0, 25.0), (11.0, 17.0)),
    "sax_alto": UsualRange((1.3, 2.8), (16.0, 28.0), (14.0, 18.0)),
    "sax_c_melody": UsualRange((1.3, 3.0), (17.0, 30.0), (14.0, 18.5)),
    "sax_tenor": UsualRange((1.5, 3.5), (18.0, 32.0), (14.0, 19.0)),
    "sax_baritone": UsualRange((1.6, 3.8), (20.0, 36.0), (14.0, 20.0)),
    "sax_bass": UsualRange((1.7, 4.2), (22.0, 40.0), (15.0, 22.0)),
    "sax_contrabass": UsualRange((1.8, 4.5), (24.0, 45.0), (16.0, 28.0)),
    "other": UsualRange((0.5, 4.5), (8.0, 45.0), (5.0, 35.0)),
}


@dataclass(frozen=True, slots=True)
class SetEntry:
    """A reading set ready to be kept.

    `unread_mm` are the blades of the set that were felt on neither rail, where any was felt;
    `read_once` says that one number was given for both rails, blade by blade.
    """

    role: str
    taken_on: date
    note: str
    readings: tuple[ReadingEntry, ...]
    unread_mm: tuple[float, ...] = ()
    read_once: bool = False

    @property
    def facing(self) -> FacingReadings:
        """The blade, tip and dial readings as typed."""
        facing = facing_of(self.readings)
        return replace(facing, unread_mm=self.unread_mm, read_once=self.read_once)


@dataclass(frozen=True, slots=True)
class ParsedSet:
    """A page of readings, parsed once: for keeping, for its preview, and to be shown again.

    `entry` holds all that can be read. `problems` by field stand against keeping it, and
    `questions` until they are answered with yes. `cells` are the fields with the line spread
    over them, `meanings` what each cell comes to in mm. `again`: some are to be read again.
    """

    entry: SetEntry
    cells: Mapping[str, str]
    problems: Mapping[str, str]
    questions: Mapping[str, str]
    meanings: Mapping[str, str]
    again: bool = False

    @property
    def token(self) -> str:
        """Tells these questions from others, so a yes answers only what was asked."""
        return "|".join(f"{name}:{words}" for name, words in sorted(self.questions.items()))

    @property
    def asks(self) -> bool:
        """Whether questions stand that nobody said yes to."""
        return bool(self.questions) and self.cells.get("asked") != self.token


def cell_name(blade: Blade, rail: str) -> str:
    """Name the grid's field for one blade and rail."""
    return f"b{blade.gauge_id}_{rail}"


LONGEST_LINE = 400
WIDEST_TIP_MM = 8.0  # no mouthpiece opens so far


class LineRefused(ValueError):  # noqa: N818 - a refusal in words, not a programming error
    """The notebook line can't be spread over the grid; the message says why."""


def spread_line(line: str, blades: Sequence[Blade]) -> dict[str, str]:
    """Spread a notebook line over the grid's cells, as text.

    Takes `35.5 23.5 12.5 6.5 / 1.11`, thin to thick or thick to thin (told by which way the numbers
    run), `35.5/34.5` for left/right, `–` for a blade not read, and ` / 0.591` again for the bore.
    One number too many and no slash: the last is taken for the tip, and the question about it
    comes under `line_question`. Raises LineRefused in words.
    """
    if len(line) > LONGEST_LINE:
        raise LineRefused(f"The line is {len(line)} letters long; at most {LONGEST_LINE} are read.")
    parts = _parts_of(line)
    if len(parts) > 3:
        raise LineRefused("There are more than three parts: blades / tip opening / bore.")
    tokens, cells = _stops_of(parts), {}
    if blades and len(parts) == 1 and len(tokens) == len(blades) + 1 and "/" not in tokens[-1]:
        parts = ["", tokens.pop()]
        cells["line_question"] = f"No slash stands before {parts[1]}: is it the tip opening?"
    if len(tokens) != len(blades):
        raise LineRefused(
            f"The line has {plural(len(tokens), 'number')} for {plural(len(blades), 'blade')}. "
            "Write – where a blade was not read, and spaces around the / before the tip opening."
        )
    pairs = [_split_rails(token) for token in tokens]
    ordered = pairs[::-1] if _runs_thin_to_thick(pairs) else pairs
    for blade, pair in zip(blades, ordered, strict=True):
        cells |= {cell_name(blade, rail): text for rail, text in zip(RAILS, pair, strict=True)}
    for name, text in zip(("tip", "bore"), parts[1:], strict=False):
        cells[name] = text.strip()
    return cells


def count_stops(line: str) -> int:
    """Count the blades that a notebook line has numbers for."""
    return len(_stops_of(_parts_of(line[:LONGEST_LINE])))


def _parts_of(line: str) -> list[str]:
    return re.split(r"\s+/\s+|\s*//\s*|\s+/(?=\S)|(?<=\S)/\s+", line.strip())


def _stops_of(parts: Sequence[str]) -> list[str]:
    """The numbers before the tip opening; 6-1/2 is 6 1/2."""
    return _join_fractions(re.sub(r"(?<=[0-9])-(?=[13]/[24](?![0-9]))", " ", parts[0]).split())


def _join_fractions(tokens: Sequence[str]) -> list[str]:
    joined: list[str] = []
    for token in tokens:
        if token in {"1/2", "1/4", "3/4"} and joined and joined[-1].isdecimal():
            joined[-1] = f"{joined[-1]} {token}"
        else:
            joined.append(token)
    return joined


def _split_rails(token: str) -> tuple[str, str]:
    if " " in token:
        return token, token
    left, slash, right = token.partition("/")
    if slash and (not left or not right or "/" in right):
        raise LineRefused(f"“{token}” is not left/right. Write it like 35.5/34.5.")
    return left, right or left


def _runs_thin_to_thick(pairs: Sequence[tuple[str, str]]) -> bool:
    try:
        numbers = [parse_number(left) for left, _ in pairs if left not in NOT_READ]
    except NotANumber as error:
        raise LineRefused(str(error)) from error
    steps = list(pairwise(numbers))
    falls, rises = sum(a > b for a, b in steps), sum(a < b for a, b in steps)
    if falls and rises:
        raise LineRefused(
            "The numbers don't run one way. Thin to thick they fall (35.5 23.5 12.5 6.5), "
            "thick to thin they rise (6.5 12.5 23.5 35.5)."
        )
    return falls >= rises


def parse_set(
    raw: Mapping[str, str],
    gauges: GaugesInUse,
    instrument_kind: str,
    today: date,
    ask_more: Callable[[SetEntry], Mapping[str, str]] | None = None,
) -> ParsedSet:
    """Read a page of readings: all that can be read of it, all its errors, and what to confirm.

    `raw` holds the grid's cells (`cell_name`), `tip`, `bore`, `line`, `role`, `taken_on`, `note`,
    the other lengths' fields (`lengths.CELLS`), the dial's columns, `asked`, the token of
    questions already answered with yes, and `again`, ticked where what is asked about was read
    again. `ask_more` asks what only the gauges' sizes can tell (`suspects.ask_suspects`).
    """
    fields = Fields(fill_dials(raw))
    cells, question, once = _take_line(fields, gauges.blades)
    fields.raw = cells
    readings = _read_grid(fields, gauges)
    readings += _read_openings(fields, gauges, instrument_kind)
    readings += name_gauges(fields, read_lengths(fields, gauges.bore), gauges.hands)
    if not readings and not fields.problems:
        fields.refuse("line", "Nothing is written yet. Write at least one reading.")
    felt = {reading.gauge_id for reading in readings if reading.quantity == "blade"}
    entry = SetEntry(
        role=fields.choice("role", ROLES, words="Say when it was measured."),
        taken_on=fields.past_day("taken_on", today, "A reading"),
        note=fields.text("note", limit=2000),
        readings=tuple(readings),
        unread_mm=tuple(
            blade.gap_mm for blade in gauges.blades if felt and blade.gauge_id not in felt
        ),
        read_once=once and bool(felt),
    )
    _refuse_impossible(fields, entry)
    questions, again = {}, {}
    if not fields.problems:
        again = dict(ask_more(entry)) if ask_more else {}
        usual_bore = USUAL.get(instrument_kind, USUAL["other"]).bore_mm
        questions = {
            **again,
            **question,
            **ask_unusual(entry, gauges, instrument_kind),
            **ask_unusual_lengths(fields.raw, gauges.bore, usual_bore),
            **ask_unusual_dials(readings),
        }
    if cells.get("again"):
        entry = _confirm(entry, again)
    return ParsedSet(
        entry,
        cells,
        dict(fields.problems),
        questions or question,
        _list_meanings(cells, entry, gauges),
        bool(again),
    )


def _confirm(entry: SetEntry, again: Mapping[str, str]) -> SetEntry:
    """Mark the readings asked about as read again."""
    readings = [
        replace(stop, confirmed=True) if f"b{stop.gauge_id}_{stop.rail}" in again else stop
        for stop in entry.readings
    ]
    return replace(entry, readings=tuple(readings))


def _take_line(
    fields: Fields, blades: Sequence[Blade]
) -> tuple[dict[str, str], dict[str, str], bool]:
    """Spread the line over the cells if it was changed last; say if it gives one number a blade.

    `spread` is the line that stands in the cells already: whatever differs from it was typed
    into a cell later, and holds.
    """
    cells, line = dict(fields.raw), fields.raw.get("line", "").strip()
    if not line:
        return cells, {}, False
    try:
        spread = spread_line(line, blades)
    except LineRefused as error:
        if line != cells.get("spread", "").strip():
            fields.refuse("line", str(error))
        return cells, {}, False
    question = spread.pop("line_question", "")
    if line != cells.get("spread", "").strip():
        cells |= spread | {"spread": line}
    pairs = [[cells.get(cell_name(blade, rail), "") for rail in RAILS] for blade in blades]
    kept = all(cells.get(name, "").strip() == text for name, text in spread.items())
    apart = any("/" in token and " " not in token for token in _stops_of(_parts_of(line)))
    once = kept and not apart and all(a == b for a, b in pairs)
    return cells, {"line": question} if question else {}, once


def _read_openings(fields: Fields, gauges: GaugesInUse, instrument_kind: str) -> list[ReadingEntry]:
    """Read the tip opening and the exit bore."""
    readings = []
    for name, scale in (("tip", gauges.tip), ("bore", gauges.bore)):
        typed = fields.raw.get(name, "").strip()
        value_mm = None if typed in NOT_READ else fields.length_mm(name, scale)
        if value_mm is None:
            continue
        if name == "tip" and value_mm > WIDEST_TIP_MM:
            usual = USUAL.get(instrument_kind, USUAL["other"]).tip_mm
            meant = _guess_meant(value_mm, usual, scale)
            fields.refuse(
                name, f"{typed} is {format_mm(value_mm, 0)} mm: no tip opens so far.{meant}"
            )
            continue
        readings.append(ReadingEntry(name, "", None, None, None, typed, scale.key, value_mm))
    return readings


def _guess_meant(value_mm: float, usual_mm: tuple[float, float], scale: Scale) -> str:
    """Ask whether a point was left out, where a number with one would be usual."""
    for times in (10, 100, 1000):
        if usual_mm[0] <= value_mm / times <= usual_mm[1]:
            return f" Was {format_on_scale(value_mm / times, scale)} meant?"
    return ""


def _list_meanings(
    cells: Mapping[str, str], entry: SetEntry, gauges: GaugesInUse
) -> dict[str, str]:
    """Say what each cell means in mm, by its name; one that can't be read says nothing."""
    meanings = {cell_name(blade, rail): "" for blade in gauges.blades for rail in RAILS}
    meanings |= {"tip": "", "bore": ""} | length_meanings(cells, gauges.bore)
    for reading in entry.readings:
        quantity = reading.quantity
        name = f"b{reading.gauge_id}_{reading.rail}" if quantity == "blade" else quantity
        if quantity in {"blade", "tip"} or (quantity == "bore" and reading.depth_mm is None):
            meanings[name] = f"{format_mm(reading.value_mm)} mm"
    return meanings


def _read_grid(fields: Fields, gauges: GaugesInUse) -> list[ReadingEntry]:
    readings: list[ReadingEntry] = []
    for blade in gauges.blades:
        for rail in RAILS:
            name = cell_name(blade, rail)
            typed = fields.raw.get(name, "").strip()
            if typed in NOT_READ:
                continue
            value_mm = fields.length_mm(name, gauges.glass)
            if value_mm is None:
                continue
            if value_mm > FURTHEST_MM:
                meant = _guess_meant(value_mm, (2.0, FURTHEST_MM / 2), gauges.glass)
                words = f"{typed} is {format_mm(value_mm, 0)} mm: beyond any facing.{meant}"
                fields.refuse(name, words)
                continue
            readings.append(
                ReadingEntry(
                    "blade", rail, blade.gauge_id, blade.gap_mm, None, typed, gauges.glass.key,
                    value_mm,
                )
            )  # fmt: skip
    return readings


def _refuse_impossible(fields: Fields, entry: SetEntry) -> None:
    # A facing only opens toward the tip, so a thinner blade stops further from it.
    for rail in RAILS:
        stops = [stop for stop in entry.readings if stop.quantity == "blade" and stop.rail == rail]
        for thick, thin in pairwise(stops):
            if thin.value_mm < thick.value_mm:
                fields.refuse(
                    f"b{thin.gauge_id}_{rail}",
                    f"{rail.capitalize()} rail: the thinner blade ({_blade(thin)}) can't stop "
                    f"nearer the tip (at {thin.typed}) than the thicker one "
                    f"({_blade(thick)}, at {thick.typed}).",
                )
    tip = next((reading for reading in entry.readings if reading.quantity == "tip"), None)
    if tip is None:
        return
    if tip.value_mm == 0:
        fields.refuse("tip", "A tip opening of nothing would be a closed mouthpiece.")
        return
    for stop in entry.readings:
        if stop.quantity == "blade" and stop.value_mm > 0 and (stop.gap_mm or 0) > tip.value_mm:
            fields.refuse(
                "tip",
                f"The tip opens {format_mm(tip.value_mm)} mm, so a blade of {_blade(stop)} "
                f"({format_mm(stop.gap_mm or 0)} mm) can't go in as far as {stop.typed}.",
            )


def _blade(reading: ReadingEntry) -> str:
    return format_blade(reading.gap_mm or 0.0)


def ask_unusual(entry: SetEntry, gauges: GaugesInUse, instrument_kind: str) -> dict[str, str]:
    """List what is possible but unusual, as questions by field."""
    usual = USUAL.get(instrument_kind, USUAL["other"])
    questions: dict[str, str] = {}
    stops = [reading for reading in entry.readings if reading.quantity == "blade"]
    for reading in entry.readings:
        limits = {"tip": usual.tip_mm, "bore": usual.bore_mm}.get(reading.quantity)
        if limits and reading.depth_mm is None and not limits[0] <= reading.value_mm <= limits[1]:
            questions[reading.quantity] = (
                f"{reading.typed} is {format_mm(reading.value_mm)} mm; usual here is "
                f"{format_mm(limits[0])} to {format_mm(limits[1])} mm."
            )
    if gauges.blades:
        thinnest = gauges.blades[-1]
        for stop in stops:
            low, high = usual.facing_length_mm
            if stop.gauge_id == thinnest.gauge_id and not low <= stop.value_mm <= high:
                questions[f"b{stop.gauge_id}_{stop.rail}"] = (
                    f"{stop.typed} on the thinnest blade makes a facing of "
                    f"{format_mm(stop.value_mm, 1)} mm; usual here is {low:g} to {high:g} mm."
                )
    _ask_about_rails(stops, gauges, questions)
    return questions


def _ask_about_rails(
    stops: Sequence[ReadingEntry], gauges: GaugesInUse, questions: dict[str, str]
) -> None:
    at = {(stop.gauge_id, stop.rail): stop for stop in stops}
    for blade, thinner in zip(gauges.blades, [*gauges.blades[1:], None], strict=True):
        left, right = (at.get((blade.gauge_id, rail)) for rail in RAILS)
        if left and right and abs(left.value_mm - right.value_mm) > 2.0:
            questions[cell_name(blade, "right")] = (
                f"The rails differ by {format_mm(abs(left.value_mm - right.value_mm), 1)} mm at "
                f"{blade.label} ({left.typed} left, {right.typed} right)."
            )
        for rail in RAILS:
            here = at.get((blade.gauge_id, rail))
            there = at.get((thinner.gauge_id, rail)) if thinner else None
            if here and there and here.value_mm == there.value_mm:
                questions[f"b{there.gauge_id}_{rail}"] = (
                    f"{rail.capitalize()} rail: two blades, {blade.label} and the next thinner, "
                    f"both stop at {here.typed}."
                )


def facing_of(readings: Sequence[ReadingEntry]) -> FacingReadings:
    """Gather a set's blade, tip and dial readings as the value that `core` analyses."""
    stops: dict[str, list[BladeStop]] = {"left": [], "right": []}
    for reading in readings:
        if reading.quantity == "blade" and reading.gap_mm is not None:
            stops[reading.rail].append(BladeStop(reading.gap_mm, reading.value_mm))
    tip = next((reading.value_mm for reading in readings if reading.quantity == "tip"), None)
    ordered = {
        rail: tuple(sorted(felt, key=lambda stop: -stop.gap_mm)) for rail, felt in stops.items()
    }
    dials = {
        rail: tuple(
            DialReading(reading.depth_mm or 0.0, reading.value_mm)
            for reading in readings
            if reading.quantity == "dial" and reading.rail == rail
        )
        for rail in RAILS
    }
    again = [reading for reading in readings if reading.confirmed]
    return FacingReadings(
        ordered["left"], ordered["right"], tip, None, dials["left"], dials["right"],
        confirmed=frozenset((reading.rail, blade_key(reading.gap_mm or 0.0)) for reading in again),
    )  # fmt: skip


def write_line(facing: FacingReadings, gauges: GaugesInUse) -> str:
    """Write a set the way notebooks have it, as 35.5 23.5 12.5 6.5 / 1.11, in the shop's order.

    A blade that was not read keeps its dash.
    """
    glass = gauges.glass
    gaps = {stop.gap_mm for stop in (*facing.left, *facing.right)} | set(facing.unread_mm)
    at = {
        rail: {stop.gap_mm: format_on_scale(stop.position_mm, glass) for stop in stops}
        for rail, stops in (("left", facing.left), ("right", facing.right))
    }
    words = []
    for gap in sorted(gaps, reverse=not gauges.thin_first):
        left, right = at["left"].get(gap, "–"), at["right"].get(gap, "–")
        words.append(left if left == right else f"{left}/{right}")
    places = len({dial.position_mm for dial in (*facing.dial_left, *facing.dial_right)})
    if places and not words:
        words.append(f"dial at {plural(places, 'place')}")
    line = " ".join(words)
    if facing.tip_opening_mm is not None:
        line = f"{line} / {format_on_scale(facing.tip_opening_mm, gauges.tip)}".lstrip()
    return line
