"""The measured part of a return card: the maker's table and figures, and what the front may say.

The player's words are in `card_front`. Nothing is computed after this; the values are kept with
the issued paper, so that a reprint never changes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot

from app.core.compare.card_front import Told, judge_rails
from app.core.compare.comparison import Change, compare_facings
from app.core.compare.effort_words import say_net_effort
from app.core.compare.length_changes import make_change
from app.core.facing.analysis import FacingAnalysis
from app.core.facing.measurements import GaugesInUse
from app.core.facing.recalling import recall_analysis
from app.core.facing.wording import describe_facing, main_rail, read_facing_length, say_evenness
from app.core.gauges.sizes import Sized
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.uncertainty import expanded
from app.core.values.units import Scale, format_blade, format_mm, format_on_scale, format_signed


@dataclass(frozen=True, slots=True)
class CardRow:
    """One blade in the shop's numbers, before and after, and the change ("=": none told)."""

    blade: str
    before_left: str
    before_right: str
    after_left: str
    after_right: str
    change_left: str
    change_right: str


@dataclass(frozen=True, slots=True)
class CardFigure:
    """One quantity before and after, with its uncertainty and verdict ("=": no change told)."""

    label: str
    before: str
    after: str
    change: str
    verdict: str


@dataclass(frozen=True, slots=True)
class MeasuredPart:
    """All of the return card that comes from the readings.

    `told` is what the player may be told of the comparison, `rails` the verdict on the rails
    before and after, `reed` what it asks of the reed; the rest is the maker's.
    """

    told: Told
    rails: tuple[str, str]
    reed: str
    rows: tuple[CardRow, ...]
    figures: tuple[CardFigure, ...]
    curves: tuple[str, ...]
    glass_label: str


@dataclass(frozen=True, slots=True)
class CardReadings:
    """What the card compares: readings and exit bores, any of which may be missing.

    A bore comes with the whole standard uncertainty of its plug that day: step, repeatability and
    check (`sizes`, `corrections`).
    """

    before: FacingReadings | None
    after: FacingReadings | None
    before_bore: Sized | None = None
    after_bore: Sized | None = None


@lru_cache(maxsize=64)  # a card's page and its pictures ask for the same one
def build_measured_part(
    readings: CardReadings,
    gauges: GaugesInUse,
    uncertainties: Uncertainties,
    evenness_tolerance_mm: float,
    kind: str = "other",
) -> MeasuredPart:
    """Work out what may be told, the table, the figures; `kind` of instrument tells the reeds."""
    both = [one for one in (readings.before, readings.after) if one is not None]
    analyses = [
        recall_analysis(one, uncertainties, evenness_tolerance_mm=evenness_tolerance_mm)
        if one is not None
        else None
        for one in (readings.before, readings.after)
    ]
    changes = compare_facings(both[0], both[1], uncertainties) if len(both) == 2 else ()
    figures = (
        *_facing_figures(readings, changes, gauges),
        *_break_figures(analyses, changes),
        *_bore_figures(readings, gauges),
        *_evenness_figures(analyses),
    )
    effort = say_net_effort(readings.before, readings.after, uncertainties, kind=kind)
    return MeasuredPart(
        told=Told(
            _told_mm(_find(changes, "tip_opening")), _told_mm(_find(changes, "facing_length"))
        ),
        rails=(_judge(analyses[0]), _judge(analyses[1])),
        reed=effort if effort and any(one.changed for one in changes) else "",
        rows=tuple(_rows(readings, changes, gauges.glass)),
        figures=figures,
        curves=tuple(_curve_words(readings, analyses, gauges.glass)),
        glass_label=gauges.glass.label,
    )


def _judge(analysis: FacingAnalysis | None) -> str:
    return judge_rails(analysis.evenness) if analysis else ""


def _find(changes: Sequence[Change], quantity: str) -> Change | None:
    return next((one for one in changes if one.quantity == quantity), None)


def _told_mm(change: Change | None) -> float | None:
    """Give what a card may say of a change: its size, nought for none that can be told."""
    if change is None:
        return None
    return change.difference if change.changed else 0.0


def _rows(readings: CardReadings, changes: Sequence[Change], glass: Scale) -> list[CardRow]:
    sides = {
        (when, rail): {stop.gap_mm: stop.position_mm for stop in getattr(facing, rail)}
        for when, facing in (("before", readings.before), ("after", readings.after))
        for rail in ("left", "right")
        if facing is not None
    }
    gaps = sorted({gap for stops in sides.values() for gap in stops})
    rows = []
    for gap in gaps:
        cells = {
            key: format_on_scale(stops[gap], glass) if gap in stops else "–"
            for key, stops in sides.items()
        }
        moved = {
            rail: next(
                (
                    one
                    for one in changes
                    if one.quantity == "position" and one.rail == rail and one.gap_mm == gap
                ),
                None,
            )
            for rail in ("left", "right")
        }
        before, after = (
            [cells.get((when, rail), "–") for rail in ("left", "right")]
            for when in ("before", "after")
        )
        rows.append(
            CardRow(
                blade=format_blade(gap),
                before_left=before[0],
                before_right=before[1],
                after_left=after[0],
                after_right=after[1],
                change_left=_in_numbers(moved["left"], glass),
                change_right=_in_numbers(moved["right"], glass),
            )
        )
    return rows


def _in_numbers(change: Change | None, glass: Scale) -> str:
    if change is None:
        return "–"
    if not change.changed:
        return "="
    number = change.difference / float(glass.mm_per_unit)
    text = format_signed(number, glass.decimals)
    return text.rstrip("0").rstrip(".") or "0"


def _facing_figures(
    readings: CardReadings, changes: Sequence[Change], gauges: GaugesInUse
) -> list[CardFigure]:
    figures = []
    tips = [one.tip_opening_mm if one else None for one in (readings.before, readings.after)]
    if any(tip is not None for tip in tips):
        figures.append(_figure("Tip opening", tips, _find(changes, "tip_opening"), gauges.tip))
    lengths = [
        read_facing_length(one) if one else None for one in (readings.before, readings.after)
    ]
    if any(length is not None for length in lengths):
        figures.append(_figure("Facing length", lengths, _find(changes, "facing_length"), None))
    return figures


def _figure(
    label: str, values: Sequence[float | None], change: Change | None, scale: Scale | None
) -> CardFigure:
    def show(value: float | None) -> str:
        if value is None:
            return "–"
        text = f"{format_mm(value)} mm"
        if scale is not None and scale.mm_per_unit != 1:
            text = f"{format_on_scale(value, scale)} {scale.unit} ({text})"
        return text

    return CardFigure(
        label,
        show(values[0]),
        show(values[1]),
        _say_difference(change, 2),
        _verdict(change),
    )


def _verdict(change: Change | None) -> str:
    if change is None:
        return ""
    return change.verdict if change.changed else "="


def _say_difference(change: Change | None, decimals: int) -> str:
    if change is None:
        return ""
    spread = format_mm(change.expanded_uncertainty, decimals)
    return f"{format_signed(change.difference, decimals)} ± {spread}"


def _break_figures(
    analyses: Sequence[FacingAnalysis | None], changes: Sequence[Change]
) -> list[CardFigure]:
    texts = []
    for one in analyses:
        spoken = main_rail(one) if one else None
        fit = spoken[1].fit(spoken[1].chosen) if spoken else None
        texts.append(
            f"{format_mm(fit.parameters['break_mm'], 1)} ± "
            f"{format_mm(expanded(fit.uncertainties['break_mm']), 1)} mm"
            if fit
            else "–"
        )
    if texts == ["–", "–"]:
        return []
    change = _find(changes, "break")
    return [
        CardFigure(
            "Break point",
            texts[0],
            texts[1],
            _say_difference(change, 1),
            _verdict(change),
        )
    ]


def _bore_figures(readings: CardReadings, gauges: GaugesInUse) -> list[CardFigure]:
    before, after = readings.before_bore, readings.after_bore
    values = [one.mm if one else None for one in (before, after)]
    if values == [None, None]:
        return []
    change = None
    if before and after:
        change = make_change("bore", None, before.mm, after.mm, hypot(before.u_mm, after.u_mm))
    return [_figure("Exit bore", values, change, gauges.bore)]


def _evenness_figures(analyses: Sequence[FacingAnalysis | None]) -> list[CardFigure]:
    texts = [say_evenness(one) if one else "–" for one in analyses]
    return [] if texts == ["–", "–"] else [CardFigure("Rails", texts[0], texts[1], "", "")]


def _curve_words(
    readings: CardReadings, analyses: Sequence[FacingAnalysis | None], glass: Scale
) -> list[str]:
    words = []
    pairs = (("Before", readings.before), ("After", readings.after))
    for (when, facing), analysis in zip(pairs, analyses, strict=True):
        if facing is None or analysis is None:
            continue
        told = describe_facing(analysis, glass)
        curve = [one for one in told if "curve" in one or "arc" in one]
        if told:
            words.append(f"{when}: {' '.join(curve or told[:1])}")
    return words
