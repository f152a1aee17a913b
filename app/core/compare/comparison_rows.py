"""Two reading sets side by side as pages and papers print them: a row for every figure.

The rows are those of the one comparison (`comparison`): a figure that either set has, its
difference with U (k = 2) and Eₙ, and a verdict. Verdicts are constants; their words stand here.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from app.core.compare.comparison import ALONG_GLASS, FACING, Change, Comparison
from app.core.compare.curve_changes import speak_of
from app.core.compare.differences import NOTHING_MM, Figure, Key, ReadSet, list_figures
from app.core.compare.length_words import label_reading, page_order, unit_of
from app.core.facing.curves import CURVES
from app.core.facing.evenness import BladeEvenness, blade_key
from app.core.facing.fits import RailAnalysis
from app.core.facing.measurements import GaugesInUse
from app.core.facing.rail_words import say_break
from app.core.facing.wording import JUDGED, READ_AGAIN, read_facing_length, say_height, say_verdict
from app.core.values.lengths import scale_named
from app.core.values.units import Scale, format_blade, format_number, format_on_scale, format_signed


class RowVerdict(StrEnum):
    """What may be said of one figure of two sets."""

    CHANGED = "changed"
    SAME = "same"
    # the facing has changed as a whole, or this figure by itself a little: it alone doesn't show it
    TOGETHER = "together"
    SUSPECT = "suspect"
    NOT_BEFORE = "not before"
    NOT_AFTER = "not after"
    NOT_COMPARED = "not compared"


@dataclass(frozen=True, slots=True)
class Side:
    """How two sets are spoken of: before and after, or one piece and another."""

    first: str
    second: str
    words: Mapping[RowVerdict, str]


ONE_PIECE = Side(
    "before",
    "after",
    {
        RowVerdict.CHANGED: "changed",
        RowVerdict.SAME: "no change the gauges can tell",
        RowVerdict.TOGETHER: "too little to tell alone",
        RowVerdict.SUSPECT: READ_AGAIN,
        RowVerdict.NOT_BEFORE: "not read before",
        RowVerdict.NOT_AFTER: "not read after",
        RowVerdict.NOT_COMPARED: "can’t be compared",
    },
)
TWO_PIECES = Side(
    "the first",
    "the second",
    {
        **ONE_PIECE.words,
        RowVerdict.CHANGED: "differs",
        RowVerdict.SAME: "no difference the gauges can tell",
        RowVerdict.NOT_BEFORE: "not read in the first",
        RowVerdict.NOT_AFTER: "not read in the second",
    },
)
HEADINGS = ("The facing", "Where the blades stop", "The bore", "Other lengths", "By dial")


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One figure as printed; notes stand small beneath it. `key` tells what it is of."""

    key: Key
    label: str
    before: str
    after: str
    verdict: RowVerdict | None = None
    difference: str = ""
    uncertainty: str = ""
    en: str = ""
    before_note: str = ""
    after_note: str = ""
    difference_note: str = ""

    @property
    def changed(self) -> bool:
        """Whether it may be said to have changed."""
        return self.verdict is RowVerdict.CHANGED


@dataclass(frozen=True, slots=True)
class _Written:
    """How a value of one kind is written: the figure, and a note beneath it."""

    unit: str = "mm"
    places: int = 2
    scale: Scale | None = None
    times: float = 1.0

    def _plain(self, value: float) -> str:
        number = format_number(self.times * value, self.places, least=self.places)
        return f"{number} {self.unit}".strip()

    def value(self, value: float | None) -> tuple[str, str]:
        """Write a value: on the scale with mm beneath, or in mm alone."""
        if value is None:
            return "–", ""
        if self.scale is None or self.scale.mm_per_unit == 1:
            return self._plain(value), ""
        return f"{format_on_scale(value, self.scale)} {self.scale.unit}".strip(), self._plain(value)

    def difference(self, value: float) -> tuple[str, str]:
        """Write a difference in mm, with the scale's own units beneath."""
        text = f"{format_signed(self.times * value, self.places)} {self.unit}".strip()
        if self.scale is None or self.scale.mm_per_unit == 1:
            return text, ""
        on_scale = format_signed(value / float(self.scale.mm_per_unit), self.scale.decimals)
        if "." in on_scale:
            on_scale = on_scale.rstrip("0").rstrip(".")
        return text, f"{on_scale} {self.scale.unit}".strip()

    def write(self, row: ComparisonRow, change: Change) -> ComparisonRow:
        """Write a difference, its uncertainty and Eₙ into a row."""
        difference, note = self.difference(change.difference)
        return replace(
            row,
            difference=difference,
            difference_note=note,
            uncertainty=f"± {self._plain(change.expanded_uncertainty)}",
            en=f"{change.en:.2f}" if change.en < 100 else f"{change.en:.0f}",
        )


@dataclass(frozen=True, slots=True)
class _Table:
    """What rows are made of: the comparison, and each set's own figures."""

    compared: Comparison
    figures: tuple[Mapping[Key, Figure], Mapping[Key, Figure]]

    def row(
        self, key: Key, label: str, written: _Written, values: Sequence[float | None] = ()
    ) -> ComparisonRow:
        """Make a row; `values` where a figure is not one that was read itself."""
        change = self.compared.by_key.get(key)
        if change is not None:
            values = change.before, change.after
        if not values:
            values = [side[key].value if key in side else None for side in self.figures]
        (before, before_note), (after, after_note) = map(written.value, values)
        verdict = _judge(self.compared, key, change, values)
        row = ComparisonRow(
            key, label, before, after, verdict, before_note=before_note, after_note=after_note
        )
        return row if change is None else written.write(row, change)


def _judge(
    compared: Comparison, key: Key, change: Change | None, values: Sequence[float | None]
) -> RowVerdict:
    if change is None:
        if None not in values or _is_of_curve(key):
            return RowVerdict.NOT_COMPARED
        return RowVerdict.NOT_BEFORE if values[0] is None else RowVerdict.NOT_AFTER
    if change.told_changed:
        return RowVerdict.CHANGED
    if _is_suspect(compared, key, change):
        return RowVerdict.SUSPECT
    return RowVerdict.TOGETHER if _is_of_changed(compared, key, change) else RowVerdict.SAME


def _is_of_changed(compared: Comparison, key: Key, change: Change) -> bool:
    """Say whether a figure moved with a facing that has changed as a whole, or half of its length.

    "No change" beside it would contradict what is said of the facing; so it would beside a tip or a
    length that differs by more than its own ±, though among so many figures that says nothing.
    """
    of_facing = change.quantity in FACING or _is_of_curve(key)
    moved = compared.joint.changed and of_facing and abs(change.difference) > NOTHING_MM
    shifted = change.quantity in ALONG_GLASS and (compared.shifted or compared.unplaced)
    unsure = change.changed and change.quantity in {"tip_opening", "facing_length"}
    return moved or shifted or unsure or _is_half(compared, change)


def _is_half(compared: Comparison, change: Change) -> bool:
    """Say whether a stop is one of the two whose mean, the facing length, has changed."""
    length = compared.by_key.get(("facing_length",))
    return (
        change.quantity == "position"
        and length is not None
        and length.told_changed
        and change.gap_mm == length.gap_mm
        and change.difference * length.difference > 0.0
    )


def _is_of_curve(key: Key) -> bool:
    return key[0] in {"break", "radius"}


def _is_suspect(compared: Comparison, key: Key, change: Change) -> bool:
    """Say whether a figure is worked out of a reading that is to be taken again."""
    if key[0] == "blade":
        return key[1:] in compared.suspects
    if change.quantity == "facing_length":
        thinnest = blade_key(change.gap_mm or 0.0)
        return any(gap == thinnest for _, gap in compared.suspects)
    return _is_of_curve(key) and bool(compared.suspects)


def list_rows(
    compared: Comparison, sets: tuple[ReadSet, ReadSet], gauges: GaugesInUse
) -> dict[str, tuple[ComparisonRow, ...]]:
    """List every figure that either set has, under `HEADINGS`; blades thin to thick."""
    first, second = sets
    table = _Table(compared, (list_figures(first, "before"), list_figures(second, "after")))
    read = {key: figure.reading for side in table.figures[::-1] for key, figure in side.items()}
    rows: dict[str, list[ComparisonRow]] = {heading: [] for heading in HEADINGS}
    rows["The facing"] += _facing_rows(table, sets, gauges)
    blades = sorted((reading.gap_mm or 0.0, reading.rail, key) for key, reading in read.items()
                    if reading.quantity == "blade")  # fmt: skip
    for gap, rail, key in blades:
        row = table.row(key, f"{format_blade(gap)}, {rail}", _Written(scale=gauges.glass))
        rows["Where the blades stop"].append(row)
    lengths = [key for key, reading in read.items() if reading.quantity not in {"blade", "tip"}]
    for key in sorted(lengths, key=lambda key: page_order(read[key])):
        reading = read[key]
        dial = reading.quantity == "dial"
        written = _Written(unit_of(reading), 3 if dial else 2, scale_named(reading.scale))
        heading = {"bore": "The bore", "dial": "By dial"}.get(reading.quantity, "Other lengths")
        rows[heading].append(table.row(key, label_reading(reading), written))
    if ("taper",) in compared.by_key:
        written = _Written("µm/mm", 1, times=1000.0)
        rows["The bore"].append(table.row(("taper",), "Taper (+ widens inwards)", written))
    rows["By dial"] = list(_shorten_dials(rows["By dial"]))
    return {heading: tuple(section) for heading, section in rows.items() if section}


def _facing_rows(
    table: _Table, sets: tuple[ReadSet, ReadSet], gauges: GaugesInUse
) -> Iterator[ComparisonRow]:
    compared = table.compared
    tip = next((key for side in table.figures for key in side if key[0] == "tip"), None)
    if tip is not None:
        yield table.row(tip, "Tip opening", _Written(scale=gauges.tip))
    first, second = (read_facing_length(read_set.facing) for read_set in sets)
    if (first, second) != (None, None):
        length = compared.by_key.get(("facing_length",))
        label = (
            f"Facing length (at {format_blade(length.gap_mm or 0.0)})"
            if length
            else "Facing length"
        )
        written = _Written(scale=gauges.glass)
        yield table.row(("facing_length",), label, written, (first, second))
    yield from _curve_rows(table)


def _curve_rows(table: _Table) -> Iterator[ComparisonRow]:
    """List the curve and where it meets the table: of one that fits both, where there is one."""
    rails = speak_of(table.compared.before, table.compared.after)
    if not any(rails):
        return
    names = [_name_curve(spoken[1]) if spoken else "–" for spoken in rails]
    yield ComparisonRow(("curve",), "Curve that fits", names[0], names[1])
    fits = [spoken[1].chosen_fit if spoken else None for spoken in rails]
    if not any(fits):
        return
    spans = [say_break(spoken[1]) or "–" if spoken else "–" for spoken in rails]
    breaks = [fit.parameters["break_mm"] if fit else None for fit in fits]
    row = table.row(("break",), "Break point (curve meets table)", _Written(places=1), breaks)
    yield replace(row, before=spans[0], after=spans[1])
    radii = [fit.parameters.get("radius_mm") if fit else None for fit in fits]
    if any(radii):
        yield table.row(("radius",), "Radius", _Written(places=0), radii)


def _name_curve(rail: RailAnalysis) -> str:
    return CURVES[rail.chosen].label if rail.chosen else JUDGED[rail.judgement]


def _shorten_dials(rows: Sequence[ComparisonRow]) -> Iterator[ComparisonRow]:
    """Keep the places both sets have; the others are counted, not listed."""
    yield from (row for row in rows if row.difference)
    alone = [row for row in rows if not row.difference]
    if alone:
        label = "Places read in one only" if len(alone) < len(rows) else "Places read by dial"
        before, after = (
            sum(getattr(row, when) != "–" for row in alone) for when in ("before", "after")
        )
        yield ComparisonRow(
            ("dial",), label, str(before or "–"), str(after or "–"), RowVerdict.NOT_COMPARED
        )


@dataclass(frozen=True, slots=True)
class EvennessRow:
    """How even the rails were at one blade, in both sets."""

    blade: str
    before: str
    before_height: str
    after: str
    after_height: str


def list_evenness(compared: Comparison) -> list[EvennessRow]:
    """List how even the rails are in both sets, blade by blade, thin to thick."""
    sides = [
        {blade_key(row.gap_mm): row for row in analysis.evenness}
        for analysis in (compared.before, compared.after)
    ]
    gaps = {key: row.gap_mm for side in sides for key, row in side.items()}
    doubted = {gap for _, gap in compared.suspects}

    def tell(side: Mapping[int, BladeEvenness], key: int) -> tuple[str, str]:
        if (row := side.get(key)) is None:
            return "–", ""
        return say_verdict(row, doubted), say_height(row)

    return [
        EvennessRow(format_blade(gaps[key]), *tell(sides[0], key), *tell(sides[1], key))
        for key in sorted(gaps)
    ]


def list_blades(rows: Mapping[str, Sequence[ComparisonRow]]) -> dict[Key, dict[str, ComparisonRow]]:
    """Gather the stops' rows by blade, thin to thick, and rail."""
    blades: dict[Key, dict[str, ComparisonRow]] = {}
    for row in rows.get("Where the blades stop", ()):
        blades.setdefault(row.key[2:], {})[str(row.key[1])] = row
    return blades


def find_row(rows: Mapping[str, Sequence[ComparisonRow]], *key: object) -> ComparisonRow | None:
    """The row whose key begins so."""
    return next(
        (row for section in rows.values() for row in section if row.key[: len(key)] == key), None
    )
