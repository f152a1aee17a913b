"""Two reading sets side by side, as the comparison page prints them: every figure in words.

The sets may be of one piece (before and after) or of two (the first and the second). Every
quantity that either set has gets a row; where both have it, the difference, its expanded
uncertainty (k = 2), Eₙ and a verdict.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot

from app.core.compare.bore import BoreTaper
from app.core.compare.comparison import Change, compare_facings
from app.core.compare.length_changes import (
    LengthPair,
    TrueLengths,
    fit_taper,
    make_change,
    pair_lengths,
    unit_of,
)
from app.core.facing.analysis import FacingAnalysis
from app.core.facing.curves import CURVES
from app.core.facing.evenness import blade_key
from app.core.facing.measurements import RAILS, GaugesInUse
from app.core.facing.recalling import recall_analysis
from app.core.facing.wording import main_rail, read_facing_length, say_evenness, say_height
from app.core.values.forms import plural
from app.core.values.lengths import scale_named
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.units import Scale, format_blade, format_number, format_on_scale, format_signed


@dataclass(frozen=True, slots=True)
class ComparedSet:
    """One of the two sets: the facing as it is to be judged, and the other lengths."""

    facing: FacingReadings
    lengths: TrueLengths


@dataclass(frozen=True, slots=True)
class Side:
    """How the two sets are spoken of, and the verdict's words."""

    first: str
    second: str
    changed: str
    same: str
    verb: str


ONE_PIECE = Side("before", "after", "changed", "no change the gauges can tell", "changed")
TWO_PIECES = Side(
    "the first", "the second", "differs", "no difference the gauges can tell", "differ"
)
_TOLD_FIRST = ("Tip opening", "Facing length", "Exit bore")


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One quantity as printed; notes stand small beneath their figure."""

    label: str
    before: str
    after: str
    difference: str = ""
    uncertainty: str = ""
    en: str = ""
    verdict: str = ""
    changed: bool | None = None
    before_note: str = ""
    after_note: str = ""
    difference_note: str = ""


@dataclass(frozen=True, slots=True)
class EvennessRow:
    """How even the rails were at one blade, in both sets."""

    blade: str
    before: str
    before_height: str
    after: str
    after_height: str


@dataclass(frozen=True, slots=True)
class ComparisonTable:
    """The whole comparison: a summary, rows under headings, and the evenness of both."""

    sentences: tuple[str, ...]
    groups: tuple[tuple[str, tuple[ComparisonRow, ...]], ...]
    evenness: tuple[EvennessRow, ...]
    evenness_words: tuple[str, str]


def compare_sets(
    before: ComparedSet,
    after: ComparedSet,
    gauges: GaugesInUse,
    side: Side,
    *,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    same_blades: bool = True,
    evenness_tolerance_mm: float = 0.5,
) -> ComparisonTable:
    """Compare everything either set has. Raises MalformedReading like `analyse_facing`."""
    changes = compare_facings(before.facing, after.facing, uncertainties, same_blades=same_blades)
    first, second = (
        recall_analysis(one.facing, uncertainties, evenness_tolerance_mm=evenness_tolerance_mm)
        for one in (before, after)
    )
    pairs = pair_lengths(before.lengths, after.lengths)
    tapers = (fit_taper(before.lengths), fit_taper(after.lengths))
    facings = (before.facing, after.facing)
    rows = {
        "The facing": [
            *_tip_rows(facings, changes, gauges.tip, side),
            *_facing_length_rows(facings, changes, gauges.glass, side),
            *_curve_rows((first, second), changes, side),
        ],
        "Where the blades stop": [*_blade_rows(facings, changes, gauges.glass, side)],
        "The bore": [_length_row(one, side) for one in pairs if one.quantity == "bore"],
        "Other lengths": [
            _length_row(one, side) for one in pairs if one.quantity not in {"bore", "dial"}
        ],
        "By dial": [*_dial_rows(pairs, side)],
    }
    rows["The bore"] += _taper_rows(tapers, side)
    groups = tuple((heading, tuple(found)) for heading, found in rows.items() if found)
    return ComparisonTable(
        tuple(_sentences(groups, side)),
        groups,
        tuple(_evenness_rows(first, second)),
        (say_evenness(first), say_evenness(second)),
    )


def _find(
    changes: Sequence[Change],
    quantity: str,
    rail: str | None = None,
    gap_mm: float | None = None,
) -> Change | None:
    return next(
        (
            one
            for one in changes
            if one.quantity == quantity
            and (rail is None or one.rail == rail)
            and (gap_mm is None or blade_key(one.gap_mm or 0.0) == blade_key(gap_mm))
        ),
        None,
    )


@dataclass(frozen=True, slots=True)
class _Written:
    """How a value of one kind is written: the figure, and a note beneath it."""

    unit: str
    places: int
    scale: Scale | None = None

    def value(self, value: float | None) -> tuple[str, str]:
        """Write a value: on the scale with mm beneath, or in mm alone."""
        if value is None:
            return "–", ""
        text = f"{format_number(value, self.places, least=self.places)} {self.unit}".strip()
        if self.scale is None or (self.scale.mm_per_unit == 1 and self.scale.unit == self.unit):
            return text, ""
        return f"{format_on_scale(value, self.scale)} {self.scale.unit}".strip(), text

    def difference(self, value: float) -> tuple[str, str]:
        """Write a difference in mm, with the scale's own units beneath."""
        text = f"{format_signed(value, self.places)} {self.unit}".strip()
        if self.scale is None or self.scale.mm_per_unit == 1:
            return text, ""
        on_scale = format_signed(value / float(self.scale.mm_per_unit), self.scale.decimals)
        if "." in on_scale:
            on_scale = on_scale.rstrip("0").rstrip(".")
        return text, f"{on_scale} {self.scale.unit}".strip()


def _row(
    label: str,
    values: tuple[float | None, float | None],
    change: Change | None,
    written: _Written,
    side: Side,
) -> ComparisonRow:
    (before, before_note), (after, after_note) = map(written.value, values)
    if change is None:
        missing = [name for name, value in zip((side.first, side.second), values, strict=True)
                   if value is None]  # fmt: skip
        verdict = f"not read {'in ' if side is TWO_PIECES else ''}{missing[0]}" if missing else ""
        return ComparisonRow(
            label, before, after, verdict=verdict, before_note=before_note, after_note=after_note
        )
    difference, difference_note = written.difference(change.difference)
    spread = format_number(change.expanded_uncertainty, written.places, least=written.places)
    return ComparisonRow(
        label,
        before,
        after,
        difference,
        f"± {spread} {written.unit}".strip(),
        f"{change.en:.2f}" if change.en < 100 else f"{change.en:.0f}",
        side.changed if change.changed else side.same,
        change.changed,
        before_note,
        after_note,
        difference_note,
    )


_Facings = tuple[FacingReadings, FacingReadings]


def _tip_rows(
    facings: _Facings, changes: Sequence[Change], scale: Scale, side: Side
) -> Iterator[ComparisonRow]:
    values = (facings[0].tip_opening_mm, facings[1].tip_opening_mm)
    if values != (None, None):
        written = _Written("mm", 2, scale)
        yield _row("Tip opening", values, _find(changes, "tip_opening"), written, side)


def _facing_length_rows(
    facings: _Facings, changes: Sequence[Change], glass: Scale, side: Side
) -> Iterator[ComparisonRow]:
    found = _find(changes, "facing_length")
    if found is not None:
        label = f"Facing length (at {format_blade(found.gap_mm or 0.0)})"
        written = _Written("mm", 2, glass)
        yield _row(label, (found.before, found.after), found, written, side)
        return
    values = (read_facing_length(facings[0]), read_facing_length(facings[1]))
    if values != (None, None):
        yield _row("Facing length", values, None, _Written("mm", 2, glass), side)


def _curve_rows(
    analyses: tuple[FacingAnalysis, FacingAnalysis], changes: Sequence[Change], side: Side
) -> Iterator[ComparisonRow]:
    names, breaks, radii = [], [], []
    for analysis in analyses:
        spoken = main_rail(analysis)
        fit = spoken[1].fit(spoken[1].chosen) if spoken else None
        judgement = spoken[1].judgement if spoken else "–"
        names.append(CURVES[fit.curve].label if fit else judgement)
        breaks.append(fit.parameters["break_mm"] if fit else None)
        radii.append(fit.parameters.get("radius_mm") if fit else None)
    if names == ["–", "–"]:
        return
    yield ComparisonRow("Curve", names[0], names[1])
    for label, values, quantity, places in (
        ("Break point (curve meets table)", breaks, "break", 1),
        ("Radius", radii, "radius", 0),
    ):
        if values != [None, None]:
            found = _find(changes, quantity)
            pair = (found.before, found.after) if found else (values[0], values[1])
            row = _row(label, pair, found, _Written("mm", places), side)
            # a curve that was not chosen was not "not read"
            yield row if found else replace(row, verdict="can’t be compared")


def _blade_rows(
    facings: _Facings, changes: Sequence[Change], glass: Scale, side: Side
) -> Iterator[ComparisonRow]:
    at = [
        {(blade_key(stop.gap_mm), rail): stop for rail in RAILS for stop in getattr(one, rail)}
        for one in facings
    ]
    blades = {key: stop.gap_mm for stops in at for (key, _), stop in stops.items()}
    for key, gap in sorted(blades.items()):
        for rail in RAILS:
            before, after = (stops.get((key, rail)) for stops in at)
            if before or after:
                values = (
                    before.position_mm if before else None,
                    after.position_mm if after else None,
                )
                change = _find(changes, "position", rail, gap)
                label = f"{format_blade(gap)}, {rail}"
                yield _row(label, values, change, _Written("mm", 2, glass), side)


def _length_row(pair: LengthPair, side: Side) -> ComparisonRow:
    shown = pair.before or pair.after
    scale = scale_named(shown.scale) if shown else None
    unit = unit_of(shown) if shown else "mm"
    places = 3 if pair.quantity == "dial" else 2
    values = tuple(one.value_mm if one else None for one in (pair.before, pair.after))
    in_mm = scale is None or scale.mm_per_unit == 1
    written = _Written(unit, places, None if in_mm else scale)
    return _row(pair.label, (values[0], values[1]), pair.change, written, side)


def _taper_rows(
    tapers: tuple[BoreTaper | None, BoreTaper | None], side: Side
) -> Iterator[ComparisonRow]:
    for label, name, spread_of, written, times in (
        ("Taper (+ widens inwards)", "slope_per_mm", "taper_per_mm", _Written("µm/mm", 1), 1000.0),
        ("Included angle", "included_angle_deg", "included_angle_deg", _Written("degrees", 2), 1.0),
    ):
        told = [None if one is None else getattr(one, name) for one in tapers]
        if told == [None, None]:
            continue
        values = [None if one is None else times * one for one in told]
        change = None
        if values[0] is not None and values[1] is not None:
            spreads = [(one.uncertainties[spread_of] if one else None) or 0.0 for one in tapers]
            if all(spreads):
                u = times * hypot(*spreads)
                change = make_change(name, None, values[0], values[1], u)
        yield _row(label, (values[0], values[1]), change, written, side)


def _dial_rows(pairs: Sequence[LengthPair], side: Side) -> Iterator[ComparisonRow]:
    """Compare the places both sets have; the others are counted, not listed."""
    dials = [one for one in pairs if one.quantity == "dial"]
    yield from (_length_row(one, side) for one in dials if one.change)
    alone = [one for one in dials if not one.change]
    if alone:
        label = "Places read in one only" if len(alone) < len(dials) else "Places read by dial"
        before, after = (
            sum(getattr(one, when) is not None for one in alone) for when in ("before", "after")
        )
        yield ComparisonRow(
            label,
            str(before or "–"),
            str(after or "–"),
            verdict="not at the same places" if before and after else "read once only",
        )


def _evenness_rows(before: FacingAnalysis, after: FacingAnalysis) -> Iterator[EvennessRow]:
    sides = [{round(row.gap_mm, 5): row for row in one.evenness} for one in (before, after)]
    for gap in sorted({*sides[0], *sides[1]}):
        one, other = sides[0].get(gap), sides[1].get(gap)
        yield EvennessRow(
            format_blade(gap),
            one.verdict if one else "–",
            say_height(one),
            other.verdict if other else "–",
            say_height(other),
        )


def _sentences(groups: Sequence[tuple[str, Sequence[ComparisonRow]]], side: Side) -> Iterator[str]:
    judged = [row for _, rows in groups for row in rows if row.changed is not None]
    moved = [row for row in judged if row.changed]
    if not judged:
        yield "Nothing was read in both, so there is nothing to compare."
        return
    read = f"{plural(len(judged), 'quantity', 'quantities')} read in both"
    if not moved:
        yield f"Of {read}, none {side.verb}: {side.same}."
        return
    yield f"Of {read}, {len(moved)} {side.verb} by more than the gauges leave in doubt."
    for row in moved:
        if row.label.startswith(_TOLD_FIRST):
            yield (
                f"{row.label}: {row.before} {side.first}, {row.after} {side.second} "
                f"({row.difference})."
            )
