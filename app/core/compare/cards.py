"""The measured part of a return card: the maker's table and figures, and what the front may say.

All of it is the one comparison's (`comparison`). The player's words are in `card_front`. Nothing is
computed after this; the values are kept with the issued paper, so that a reprint never changes.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from app.core.compare.card_front import Told
from app.core.compare.comparison import Comparison, compare
from app.core.compare.comparison_rows import (
    ONE_PIECE,
    ComparisonRow,
    RowVerdict,
    find_row,
    list_blades,
    list_rows,
)
from app.core.compare.comparison_words import join_words, say_tables
from app.core.compare.curve_changes import speak_of
from app.core.compare.differences import NOT_READ, ReadSet, shorten_set
from app.core.compare.effort_words import LEFT_OUT, say_net_effort
from app.core.compare.table_profiles import ROCKS, TableProfile, judge_table
from app.core.facing.analysis import FacingAnalysis
from app.core.facing.evenness import (
    BLADE_KEYS_PER_MM,
    CANNOT_TELL,
    EVEN,
    UNEVEN,
    RailsVerdict,
    blade_key,
    judge_rails,
)
from app.core.facing.evenness import NOT_READ as NEVER_READ
from app.core.facing.measurements import GaugesInUse
from app.core.facing.rail_words import describe_rail
from app.core.facing.wording import say_evenness
from app.core.values.units import format_blade


@dataclass(frozen=True, slots=True)
class CardRow:
    """One blade in the shop's numbers, before and after, and the change.

    "=" stands for a change that may not be told, "?" beside one whose reading is to be taken again.
    """

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


@lru_cache(maxsize=64)  # a card's page and its pictures ask for the same one
def build_measured_part(
    before: ReadSet | None,
    after: ReadSet | None,
    gauges: GaugesInUse,
    evenness_tolerance_mm: float,
    kind: str = "other",
    shortened_mm: float = 0.0,
) -> MeasuredPart:
    """Work out what may be told, the table, the figures; `kind` of instrument tells the reeds.

    Either set may be missing. Where the tip was shortened, what was read before is counted from
    the tip of after.
    """
    as_read = before or NOT_READ
    sets = shorten_set(as_read, shortened_mm), after or NOT_READ
    compared = compare(*sets, evenness_tolerance_mm=evenness_tolerance_mm)
    if shortened_mm:  # a shortened tip closes by itself: whether the curve moved is asked without
        compared = replace(compared, joint=compare(_leave_tip(sets[0]), _leave_tip(sets[1])).joint)
    rows = list_rows(compared, sets, gauges)
    tables = [judge_table(read_set.readings, read_set.told) for read_set in sets]
    rails = (
        _judge_rails(compared.before, compared, tables[0]),
        _judge_rails(compared.after, compared, tables[1]),
    )
    reed = None
    if compared.moved:
        reed = say_net_effort(as_read, sets[1], kind)
    both = before is not None and after is not None
    return MeasuredPart(
        told=replace(tell_card(compared), shortened_mm=shortened_mm),
        rails=(rails[0].verdict, rails[1].verdict),
        reed=reed or "",
        rows=tuple(_card_row(by_rail) for by_rail in list_blades(rows).values()),
        figures=(*_list_figures(rows, both=both), *_rails_figures(rails, compared)),
        curves=(*_say_curves(compared), *say_tables(sets), *([LEFT_OUT] if reed else [])),
    )


def _leave_tip(read_set: ReadSet) -> ReadSet:
    pairs = zip(read_set.readings, read_set.told, strict=True)
    left = [(reading, value) for reading, value in pairs if reading.quantity != "tip"]
    readings, values = zip(*left, strict=True) if left else ((), ())
    facing = replace(read_set.facing, tip_opening_mm=None)
    return replace(read_set, facing=facing, readings=readings, told=values)


def tell_card(compared: Comparison) -> Told:
    """Reduce a comparison to what a player is told."""
    tip = next((change for change in compared.changes if change.quantity == "tip_opening"), None)
    length = compared.by_key.get(("facing_length",))
    length_mm = None if length is None else length.difference if length.told_changed else 0.0
    if length is not None and compared.shifted:
        length_mm = compared.joint.shift_mm
    suspect_gaps = {gap for _, gap in compared.suspects}
    return Told(
        None if tip is None else tip.difference if tip.told_changed else 0.0,
        length_mm,
        moved=compared.moved,
        together=compared.shifted,
        as_whole=compared.joint.changed,
        unsure=frozenset(
            change.quantity
            for change in compared.changes
            if change.changed and not change.told_changed
        ),
        again=bool(suspect_gaps),
        doubted=length is not None and blade_key(length.gap_mm or 0.0) in suspect_gaps,
    )


def _judge_rails(
    analysis: FacingAnalysis, compared: Comparison, table: TableProfile | None
) -> RailsVerdict:
    """Judge the rails without the blades whose reading is to be taken again.

    On a table that rocks from edge to edge it can't be told.
    """
    suspect_gaps = {gap for _, gap in compared.suspects}
    rows = [row for row in analysis.evenness if blade_key(row.gap_mm) not in suspect_gaps]
    judged = judge_rails(
        rows, one_rail=bool(analysis.left or analysis.right), read_once=analysis.read_once
    )
    rocks = table is not None and table.verdict == ROCKS
    return RailsVerdict(CANNOT_TELL) if rocks and judged.verdict in {EVEN, UNEVEN} else judged


def _card_row(by_rail: Mapping[str, ComparisonRow]) -> CardRow:
    left, right = by_rail.get("left"), by_rail.get("right")
    before, after = (
        [getattr(row, when) if row else "–" for row in (left, right)]
        for when in ("before", "after")
    )
    shown = left or right
    return CardRow(
        shown.label.rpartition(",")[0] if shown else "",
        before[0], before[1], after[0], after[1], _say_change(left), _say_change(right),
    )  # fmt: skip


def _say_change(row: ComparisonRow | None) -> str:
    if row is None or not row.difference:
        return "–"
    if row.verdict is RowVerdict.SAME:
        return "="
    number = row.difference_note or row.difference
    return f"{number}?" if row.verdict is RowVerdict.SUSPECT else number


def _list_figures(
    rows: Mapping[str, Sequence[ComparisonRow]], *, both: bool
) -> Iterator[CardFigure]:
    for key in ("tip", "facing_length", "break", "bore"):
        row = find_row(rows, key)
        if row is None:
            continue
        before, after = (
            note if key == "facing_length" and note else f"{shown} ({note})" if note else shown
            for shown, note in ((row.before, row.before_note), (row.after, row.after_note))
        )
        change = f"{row.difference} {row.uncertainty}".replace(" mm", "") if row.difference else ""
        verdict = row.verdict or RowVerdict.SAME
        words = "=" if verdict is RowVerdict.SAME else ONE_PIECE.words[verdict]
        yield CardFigure(row.label.partition(" (")[0], before, after, change, words if both else "")


def _rails_figures(
    rails: tuple[RailsVerdict, RailsVerdict], compared: Comparison
) -> Iterator[CardFigure]:
    doubted = sorted({gap / BLADE_KEYS_PER_MM for _, gap in compared.suspects})
    without = f", without {join_words([format_blade(gap) for gap in doubted])}" if doubted else ""
    texts = [
        "–" if judged.verdict == NEVER_READ else f"{say_evenness(judged)}{without}"
        for judged in rails
    ]
    if texts != ["–", "–"]:
        yield CardFigure("Rails", texts[0], texts[1], "", "")


def _say_curves(compared: Comparison) -> Iterator[str]:
    """Say the curve of both facings: of one that fits both, where there is one."""
    rails = speak_of(compared.before, compared.after)
    for when, spoken in zip(("Before", "After"), rails, strict=True):
        if spoken is not None:
            yield f"{when}: {describe_rail(spoken[1], spoken[0])}"
