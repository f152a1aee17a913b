"""Making: a batch and its pieces as typed, and how it runs; each piece's verdict is beside this.

The tolerance says what is allowed; the run chart's limits say what this batch does by itself. Both
are shown. Whether what it makes lies within the tolerance is said only where the pieces read so far
settle it (`tolerance_factor`, 95 of 100 either way); equal readings have at least the scatter that
the step of the gauge hides.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean, stdev

from app.core.facing.evenness import blade_key
from app.core.facing.measurements import GaugesInUse
from app.core.jobs.batch_verdicts import tip_limit
from app.core.plan.facings import FacingTolerance, PlainFacing, Target
from app.core.values.charts import (
    SETTLED_COUNT,
    IndividualsChart,
    chart_individuals,
    filled_factor,
    tolerance_factor,
)
from app.core.values.forms import Fields, Refused, plural
from app.core.values.pieces import MATERIALS
from app.core.values.readings import FacingReadings
from app.core.values.uncertainty import resolution
from app.core.values.units import format_blade, format_mm, format_signed

MOST_PIECES = 200
MOST_IN_BATCH = 999
SURE = 0.95  # of what is said of a batch and its tolerance
_NUMBER_SIGNS = re.compile("#+")


@dataclass(frozen=True, slots=True)
class PiecesEntry:
    """Pieces to be written down: their markings, in the order they are made."""

    markings: tuple[str, ...]
    material: str


@dataclass(frozen=True, slots=True)
class BatchEntry:
    """A batch as typed."""

    name: str
    facing_id: int
    started_on: date
    note: str


@dataclass(frozen=True, slots=True)
class NewBatchEntry:
    """A new batch with its first pieces."""

    batch: BatchEntry
    pieces: PiecesEntry


def parse_new_batch(
    raw: Mapping[str, str], facing_ids: Collection[int], today: date
) -> NewBatchEntry | Refused:
    """Read the page of a new batch."""
    fields = Fields(raw)
    entry = NewBatchEntry(_read_batch(fields, facing_ids, today), _read_pieces(fields))
    return fields.refused() or entry


def parse_batch(
    raw: Mapping[str, str], facing_ids: Collection[int], today: date
) -> BatchEntry | Refused:
    """Read the page that corrects a batch."""
    fields = Fields(raw)
    entry = _read_batch(fields, facing_ids, today)
    return fields.refused() or entry


def parse_pieces(raw: Mapping[str, str], taken: Sequence[str]) -> PiecesEntry | Refused:
    """Read pieces to add to a batch; `taken` are the markings of those it has."""
    fields = Fields(raw)
    entry = _read_pieces(fields)
    if len(taken) + len(entry.markings) > MOST_IN_BATCH:
        fields.refuse("count", f"A batch has at most {MOST_IN_BATCH} pieces; begin another.")
    twice = [marking for marking in entry.markings if marking in set(taken)]
    if twice:
        fields.refuse("first", f"{twice[0]} is in this batch already.")
    return fields.refused() or entry


def _read_batch(fields: Fields, facing_ids: Collection[int], today: date) -> BatchEntry:
    facing_id = fields.number_of("facing", needed="Choose the facing they are made to.")
    if facing_id is not None and facing_id not in facing_ids:
        fields.refuse("facing", "That facing is not in the library.")
    return BatchEntry(
        name=fields.text("name", needed="Give the batch a name.", limit=120),
        facing_id=facing_id or 0,
        started_on=fields.past_day("started_on", today, "A batch"),
        note=fields.text("note", limit=2000),
    )


def _read_pieces(fields: Fields) -> PiecesEntry:
    count = fields.number_of("count", needed="Write how many pieces there are.")
    if count is not None and not 1 <= count <= MOST_PIECES:
        fields.refuse("count", f"Write down 1 to {MOST_PIECES} pieces at a time.")
        count = None
    first = fields.number_of("first")
    pattern = fields.text("marking", needed="Write how they are marked, such as M5-##.", limit=80)
    signs = _NUMBER_SIGNS.findall(pattern)
    if pattern and not (len(signs) == 1 or (not signs and count == 1)):
        fields.refuse("marking", "Write # once, where each piece's number stands: M5-##.")
    material = fields.choice("material", MATERIALS, words="Choose the material.")
    markings = number_markings(pattern, 1 if first is None else first, count or 0)
    return PiecesEntry(markings, material)


def number_markings(pattern: str, first: int, count: int) -> tuple[str, ...]:
    """Write markings by a pattern: M5-## from 9 gives M5-09, M5-10; without # all are alike."""
    signs = _NUMBER_SIGNS.search(pattern)
    if signs is None:
        return (pattern,) * count
    before, width, after = pattern[: signs.start()], len(signs.group()), pattern[signs.end() :]
    return tuple(f"{before}{number:0{width}d}{after}" for number in range(first, first + count))


def continue_marking(marking: str) -> tuple[str, int]:
    """Guess from the last piece's marking how the next are marked: M5-09 gives M5-## and 10."""
    numbers = list(re.finditer("[0-9]+", marking))
    if not numbers:
        return f"{marking} #".strip(), 2
    last = numbers[-1]
    signs = "#" * len(last.group())
    return f"{marking[: last.start()]}{signs}{marking[last.end() :]}", int(last.group()[:9]) + 1


def find_length_gap(target: Target) -> float | None:
    """The blade by which the target's facing length is told, None if it has none."""
    if isinstance(target, PlainFacing):
        return target.length_gap_mm
    return min((stop.gap_mm for stop in (*target.left, *target.right)), default=None)


def read_length_at(facing: FacingReadings, gap_mm: float | None) -> float | None:
    """Where a blade stops, the mean of both rails, in mm; None if it was not read."""
    if gap_mm is None:
        return None
    key = blade_key(gap_mm)
    read = [s.position_mm for s in (*facing.left, *facing.right) if blade_key(s.gap_mm) == key]
    return sum(read) / len(read) if read else None


def target_length(target: Target) -> float | None:
    """The facing length that the target asks for, in mm."""
    if isinstance(target, PlainFacing):
        return target.facing_length_mm
    return read_length_at(target, find_length_gap(target))


@dataclass(frozen=True, slots=True)
class BatchRun:
    """One quantity over a batch, in the order made; `chart` is None below two values.

    `target_mm` and `tolerance_mm` (half-width) are None where the target says none.
    """

    quantity: str
    label: str
    markings: tuple[str, ...]
    values_mm: tuple[float, ...]
    target_mm: float | None
    tolerance_mm: float | None
    chart: IndividualsChart | None
    words: tuple[str, ...]


def run_batch(
    target: Target,
    tolerance: FacingTolerance,
    pieces: Sequence[tuple[str, FacingReadings]],
    gauges: GaugesInUse,
) -> tuple[BatchRun, BatchRun]:
    """Chart tip opening and facing length over a batch; `pieces` are marking and readings."""
    tip_u, stop_u = (resolution(scale.step_mm).u_mm for scale in (gauges.tip, gauges.glass))
    gap = find_length_gap(target)
    length_label = "Facing length" + ("" if gap is None else f" at {format_blade(gap)}")
    tips = [(marking, facing.tip_opening_mm) for marking, facing in pieces]
    lengths = [(marking, read_length_at(facing, gap)) for marking, facing in pieces]
    return (
        _run("tip", "Tip opening", tips, target.tip_opening_mm, tip_limit(tolerance), tip_u),
        _run("length", length_label, lengths, target_length(target), tolerance.position_mm, stop_u),
    )


def _run(
    quantity: str,
    label: str,
    pieces: Sequence[tuple[str, float | None]],
    target_mm: float | None,
    tolerance_mm: float | None,
    least_mm: float,
) -> BatchRun:
    read = [(marking, value) for marking, value in pieces if value is not None]
    markings, values = tuple(marking for marking, _ in read), tuple(value for _, value in read)
    chart = chart_individuals(values) if len(values) > 1 else None
    words: list[str] = []
    if chart and target_mm is not None:
        off = chart.centre_mm - target_mm
        away = "on the target" if abs(off) < 0.005 else f"{format_signed(off, 2)} mm off the target"
        words.append(f"The mean is {format_mm(chart.centre_mm)} mm, {away}.")
        if tolerance_mm:
            words.append(_say_capable(values, least_mm, target_mm, tolerance_mm))
    words += _describe_run(markings, chart) if chart else ()
    return BatchRun(quantity, label, markings, values, target_mm, tolerance_mm, chart, tuple(words))


def _say_capable(
    values: Sequence[float], least_mm: float, target_mm: float, tolerance_mm: float
) -> str:
    """Say whether what is made lies within the tolerance, as far as the pieces read settle it."""
    count, mean = len(values), fmean(values)
    deviation = max(stdev(values), least_mm)
    low, high = target_mm - tolerance_mm, target_mm + tolerance_mm
    most, surely = (
        factor(count, sure=SURE) * deviation for factor in (tolerance_factor, filled_factor)
    )
    allowed = f"{format_mm(low)} to {format_mm(high)} mm"
    if low <= mean - most and mean + most <= high:
        return f"What it makes lies within the tolerance, {allowed}."
    if mean - surely < low or high < mean + surely:
        return f"The tolerance is {allowed}: as it runs, some pieces will be out of it."
    return (
        f"The tolerance is {allowed}: whether all it makes will lie within it, "
        f"{plural(count, 'piece')} can’t tell yet."
    )


def _describe_run(markings: Sequence[str], chart: IndividualsChart) -> tuple[str, ...]:
    words = []
    if chart.beyond:
        names = ", ".join(markings[at] for at in chart.beyond)
        words.append(f"Beyond the limits: {names}. Something was different there.")
    if chart.ranges_beyond:
        steps = ", ".join(f"{markings[at]} to {markings[at + 1]}" for at in chart.ranges_beyond)
        words.append(f"A larger step than usual: {steps}.")
    if chart.provisional:
        count = plural(len(chart.values_mm), "piece")
        words.append(f"The limits rest on {count}; they settle from {SETTLED_COUNT} on.")
    return tuple(words)
