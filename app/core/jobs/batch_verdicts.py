"""A piece against its batch's target: in, out, or nearer to the limit than the gauges tell.

The decision rule is that of ISO 14253-1 (from memory): a value is shown to be within a tolerance T
only where it lies inside it by a guard band g, shown to be out only where it lies outside by g,
and between the two neither is shown. With g = 1.65 standard uncertainties either verdict is right
in 95 of 100 cases at its very limit (one-sided, normal). The piece is out if anything is; it is in
only if all that was read is. Without a tolerance there is no limit to guard: a piece is called out
where a reading stands further off than the gauges leave any of its readings by chance in one piece
of twenty, so that one dead on target seldom is.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

from app.core.facing.evenness import BLADE_KEYS_PER_MM, blade_key
from app.core.facing.measurements import GaugesInUse
from app.core.plan.bench import BenchState, BladeLeft
from app.core.plan.facings import FacingTolerance, Target
from app.core.values.readings import FacingReadings
from app.core.values.regression import student_quantile
from app.core.values.units import (
    Scale,
    format_blade,
    format_mm,
    format_number,
    format_signed,
    to_scale,
)

IN, OUT, CANNOT_TELL = "in", "out", "cannot tell"
CHANCE = 0.05  # of calling a piece out without a tolerance that is dead on target
GUARD_U = 1.65  # one-sided 95 % of the normal distribution, as ISO 14253-1 rounds it


@dataclass(frozen=True, slots=True)
class Limit:
    """One value held against one limit, in mm: how far away, how far is allowed, how sure."""

    away_mm: float
    allowed_mm: float
    u_mm: float

    @property
    def verdict(self) -> str:
        """In if inside the limit by the guard band, out if outside by it, else cannot tell."""
        guard = GUARD_U * self.u_mm
        if abs(self.away_mm) + guard <= self.allowed_mm + 1e-9:
            return IN
        return OUT if abs(self.away_mm) - guard > self.allowed_mm + 1e-9 else CANNOT_TELL


def tip_limit(tolerance: FacingTolerance) -> float | None:
    """What the tip may be off by, in mm: its own tolerance, else that of the gap."""
    return tolerance.gap_mm if tolerance.tip_mm is None else tolerance.tip_mm


def limits_of(blade: BladeLeft, tolerance: FacingTolerance) -> tuple[Limit | None, Limit | None]:
    """A blade's two limits, along the glass and in gap; None where it has no such limit.

    The tip has only the one in gap.
    """
    allowed = tip_limit(tolerance) if blade.gap_mm is None else tolerance.gap_mm
    in_gap = None if allowed is None else Limit(blade.height_mm, allowed, blade.u_mm)
    along = tolerance.position_mm
    if blade.gap_mm is None or along is None or blade.away_mm is None:
        return None, in_gap
    return Limit(blade.away_mm, along, blade.away_u_mm), in_gap


def judge_blades(
    state: BenchState, tolerance: FacingTolerance
) -> tuple[tuple[BladeLeft, str], ...]:
    """Judge every blade and the tip: out if one limit says so, in only if all do."""
    free = sum(not any(limits_of(blade, tolerance)) for blade in state.blades)
    away = student_quantile(1.0 - CHANCE / (2.0 * max(free, 1)), inf)
    judged = []
    for blade in state.blades:
        verdicts = {limit.verdict for limit in limits_of(blade, tolerance) if limit}
        if not verdicts:
            verdicts = {OUT if abs(blade.height_mm) > away * blade.u_mm else IN}
        verdict = OUT if OUT in verdicts else CANNOT_TELL if CANNOT_TELL in verdicts else IN
        judged.append((blade, verdict))
    return tuple(judged)


@dataclass(frozen=True, slots=True)
class Miss:
    """One place at which a piece is out of tolerance or may be, in words.

    `verdict` is OUT or CANNOT_TELL; `mendable` if it can still be cut.
    """

    words: str
    mendable: bool
    verdict: str = OUT


def list_misses(
    state: BenchState, tolerance: FacingTolerance, gauges: GaugesInUse
) -> tuple[Miss, ...]:
    """List where a piece is not shown to be within tolerance; the tip first, then thick to thin."""
    judged = sorted(
        judge_blades(state, tolerance),
        key=lambda pair: (pair[0].gap_mm is not None, -(pair[0].gap_mm or 0.0), pair[0].rail),
    )
    misses: list[Miss] = []
    for blade, verdict in judged:
        if verdict == IN:
            continue
        if blade.gap_mm is None:
            misses.append(_miss_tip(blade, tolerance, verdict))
            continue
        miss = _miss_blade(blade, tolerance, gauges, verdict)
        left = f"{format_blade(blade.gap_mm)} left "
        as_left = miss.words.replace(f"{format_blade(blade.gap_mm)} right ", left, 1)
        if misses and blade.rail == "right" and misses[-1].words == as_left:
            both = as_left.replace(left, f"{format_blade(blade.gap_mm)} on both rails ", 1)
            misses[-1] = replace(misses[-1], words=both)
        else:
            misses.append(miss)
    return tuple(misses)


def doubt_readings(suspects: Iterable[tuple[str, int]]) -> tuple[Miss, ...]:
    """Say which readings, by rail and blade, nothing was judged from: they are to be read again."""
    return tuple(
        Miss(f"{format_blade(key / BLADE_KEYS_PER_MM)} {rail} to be read again", True, CANNOT_TELL)
        for rail, key in sorted(suspects)
    )


def judge_piece(misses: Sequence[Miss]) -> str:
    """The piece's verdict from where it misses."""
    if any(miss.verdict == OUT for miss in misses):
        return OUT
    return CANNOT_TELL if misses else IN


def say_piece(misses: Sequence[Miss], unread: Sequence[str]) -> tuple[str, str]:
    """Say a piece's verdict: what it is, and why; it is empty where nothing misses."""
    out, doubts = (
        "; ".join(miss.words for miss in misses if miss.verdict == verdict)
        for verdict in (OUT, CANNOT_TELL)
    )
    ending = f" Not read: {', '.join(unread)}." if unread else ""
    if not out:
        return ("Cannot tell", f"{doubts}.{ending}") if doubts else ("", ending.strip())
    mendable = all(miss.mendable for miss in misses if miss.verdict == OUT)
    mend = "Can still be cut." if mendable else "Only the table can bring it back."
    return "Out", f"{out}. {mend}" + (f" Cannot tell: {doubts}." if doubts else "") + ending


def _miss_tip(tip: BladeLeft, tolerance: FacingTolerance, verdict: str) -> Miss:
    away, limit = tip.away_mm or 0.0, tip_limit(tolerance)
    way = "too open" if away > 0 else "too close"
    words = f"tip {format_mm(abs(away))} mm {way}" if away else "tip as wanted"
    past = "" if limit is None else format_number(max(abs(away) - limit, 0.0), 3)
    return _make_miss(words, past, tip, verdict)


def _miss_blade(
    blade: BladeLeft, tolerance: FacingTolerance, gauges: GaugesInUse, verdict: str
) -> Miss:
    place = f"{format_blade(blade.gap_mm or 0.0)} {blade.rail}"
    along, _ = limits_of(blade, tolerance)
    if along and along.verdict == verdict:
        beyond = abs(along.away_mm) - along.allowed_mm
        way = "too far" if along.away_mm > 0 else "short"
        size, past = (_on_glass(value, gauges.glass) for value in (abs(along.away_mm), beyond))
        words = f"{place} {size} {way}" if abs(along.away_mm) > 1e-9 else f"{place} as wanted"
        return _make_miss(words, past, blade, verdict)
    height, limit = abs(blade.height_mm), tolerance.gap_mm
    way = "too high" if blade.height_mm > 0 else "too low"
    words = f"{place} {format_number(height * 1000, 0)} µm {way}"
    past = "" if limit is None else format_number((height - limit) * 1000, 0)
    return _make_miss(words, past, blade, verdict)


def _make_miss(words: str, past: str, blade: BladeLeft, verdict: str) -> Miss:
    words = f"{words}, {past} beyond" if verdict == OUT and past else words
    return Miss(words, blade.height_mm > 0, verdict)


def _on_glass(value_mm: float, glass: Scale) -> str:
    return f"{format_number(to_scale(value_mm, glass), 2)} {glass.unit}".strip()


@dataclass(frozen=True, slots=True)
class AwayCell:
    """How far one blade, or the tip, is from the target on each rail; "" where not read."""

    left: str
    right: str
    is_out: bool

    @property
    def words(self) -> str:
        """Both rails, once if they are alike."""
        if self.left == self.right:
            return self.left
        return f"{self.left or '–'}/{self.right or '–'}"


def list_away(
    state: BenchState, tolerance: FacingTolerance, gaps_mm: Sequence[float], gauges: GaugesInUse
) -> tuple[AwayCell, ...]:
    """The deviations of the tip and of each of these blades, in this order."""
    cells = []
    judged = judge_blades(state, tolerance)
    for key in (None, *(blade_key(gap) for gap in gaps_mm)):
        here = [
            (blade, verdict)
            for blade, verdict in judged
            if (None if blade.gap_mm is None else blade_key(blade.gap_mm)) == key
        ]
        at = {blade.rail: blade for blade, _ in here}
        out = any(verdict == OUT for _, verdict in here)
        if key is None:
            tip = at.get("tip")
            words = "" if tip is None or tip.away_mm is None else _signed(tip.away_mm, 2)
            cells.append(AwayCell(words, words, out))
            continue
        left, right = (_away(at.get(rail), gauges.glass) for rail in ("left", "right"))
        cells.append(AwayCell(left, right, out))
    return tuple(cells)


def _away(blade: BladeLeft | None, glass: Scale) -> str:
    if blade is None or blade.away_mm is None:
        return ""
    on_glass = blade.away_mm / float(glass.mm_per_unit)
    words = _signed(on_glass, 2)
    return words.rstrip("0").rstrip(".") if "." in words else words


def _signed(value: float, decimals: int) -> str:
    # a difference of two readings may leave a crumb of rounding
    return "0" if abs(value) < 0.5 * 10**-decimals else format_signed(value, decimals)


def list_unread(target: Target, now: FacingReadings) -> tuple[str, ...]:
    """Say what the target asks for that was not read: a piece is judged by what was."""
    unread = []
    if target.tip_opening_mm is not None and now.tip_opening_mm is None:
        unread.append("tip")
    unread += [f"{rail} rail" for rail in ("left", "right") if not getattr(now, rail)]
    return tuple(unread)
