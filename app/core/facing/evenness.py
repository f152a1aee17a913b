"""Says how even the two rails are, blade by blade.

The same half number is far less height at the thinnest blade than at the thickest, so each
difference is given along the glass and as a height. Both rails are felt with the same blade:
its own error is common and cancels; only the two positions carry uncertainty. A verdict keeps a
guard band of one standard uncertainty (JCGM 106:2012, 8.3): at the very limit it is wrong in 16 of
100 cases. A wider band would call a half number, the finest step of the glass, "cannot tell" at
every blade, which tells a maker nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite

from app.core.values.readings import BladeStop

EVEN, UNEVEN, CANNOT_TELL = "even", "uneven", "cannot tell"
ONE_RAIL, READ_ONCE, NOT_READ = "one rail", "read once", "not read"
BLADE_KEYS_PER_MM = 1e5


@dataclass(frozen=True, slots=True)
class BladeEvenness:
    """Right minus left for one blade: along the glass in mm, as a height in µm, and a verdict.

    `verdict` is "even", "uneven" or "cannot tell". `u_um` is the standard uncertainty of the
    height, `position_u_mm` that of the difference along the glass. The heights are None where
    the readings give no slope.
    """

    gap_mm: float
    position_difference_mm: float
    height_difference_um: float | None
    u_um: float | None
    verdict: str
    position_u_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class RailsVerdict:
    """How even the rails are as a whole, and the blades that say so where they aren't even.

    `verdict` is EVEN, UNEVEN, CANNOT_TELL, ONE_RAIL (nothing to hold it against), READ_ONCE (one
    number given for both) or NOT_READ.
    """

    verdict: str
    gaps_mm: tuple[float, ...] = ()


def judge_rails(
    rows: Sequence[BladeEvenness], *, one_rail: bool, read_once: bool = False
) -> RailsVerdict:
    """Sum up the blades felt on both rails; `one_rail` if any was felt at all."""
    if read_once:
        return RailsVerdict(READ_ONCE)
    if not rows:
        return RailsVerdict(ONE_RAIL if one_rail else NOT_READ)
    for verdict in (UNEVEN, CANNOT_TELL):
        if gaps := tuple(row.gap_mm for row in rows if row.verdict == verdict):
            return RailsVerdict(verdict, gaps)
    return RailsVerdict(EVEN)


@dataclass(frozen=True, slots=True)
class BladePair:
    """One blade felt on both rails: mean positions and their standard uncertainties, mm."""

    gap_mm: float
    gap_u_mm: float
    left_mm: float
    left_u_mm: float
    right_mm: float
    right_u_mm: float

    def mean_stop(self) -> BladeStop:
        """The mean of both rails: the positions average out, the blade's error does not."""
        return BladeStop(
            self.gap_mm,
            (self.left_mm + self.right_mm) / 2,
            self.gap_u_mm,
            hypot(self.left_u_mm, self.right_u_mm) / 2,
        )


def pair_blades(
    left: Sequence[BladeStop], right: Sequence[BladeStop], position_u_mm: float, gap_u_mm: float
) -> tuple[BladePair, ...]:
    """Match the blades felt on both rails, in the left rail's order; repeats are averaged."""
    sides = _by_blade(left), _by_blade(right)
    pairs = []
    for blade, lefts in sides[0].items():
        rights = sides[1].get(blade)
        if rights is None:
            continue
        gap_us = [_or(stop.gap_u_mm, gap_u_mm) for stop in (*lefts, *rights)]
        pairs.append(
            BladePair(
                lefts[0].gap_mm,
                max(gap_us),
                *_mean_position(lefts, position_u_mm),
                *_mean_position(rights, position_u_mm),
            )
        )
    return tuple(pairs)


def _by_blade(stops: Sequence[BladeStop]) -> dict[int, list[BladeStop]]:
    positions: dict[int, list[BladeStop]] = {}
    for stop in stops:
        positions.setdefault(blade_key(stop.gap_mm), []).append(stop)
    return positions


def blade_key(gap_mm: float) -> int:
    """Tell blades apart by their thickness to a hundredth of a micrometre."""
    return round(gap_mm * BLADE_KEYS_PER_MM)


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _mean_position(stops: Sequence[BladeStop], position_u_mm: float) -> tuple[float, float]:
    mean = sum(stop.position_mm for stop in stops) / len(stops)
    return mean, hypot(*(_or(s.position_u_mm, position_u_mm) for s in stops)) / len(stops)


def judge_evenness(
    pairs: Sequence[BladePair],
    tolerance_mm: float = 0.5,
    slopes: Sequence[float | None] | None = None,
) -> tuple[BladeEvenness, ...]:
    """Compare right with left for each blade; `slopes` are dh/ds > 0 there, or None.

    The verdicts need no slopes; without them there are no heights. A right rail whose blade stops
    further from the tip stands lower there: positive height.
    Raises ValueError for a tolerance that is not a length.
    """
    if not (isfinite(tolerance_mm) and tolerance_mm >= 0):
        raise ValueError("The tolerance for even rails must be a length of zero or more.")
    rows = []
    for pair, slope in zip(pairs, slopes or [None] * len(pairs), strict=True):
        difference = pair.right_mm - pair.left_mm
        difference_u = hypot(pair.left_u_mm, pair.right_u_mm)
        um_per_mm = None if slope is None else 1000.0 * slope
        rows.append(
            BladeEvenness(
                pair.gap_mm,
                difference,
                None if um_per_mm is None else difference * um_per_mm,
                None if um_per_mm is None else difference_u * um_per_mm,
                _verdict(abs(difference), difference_u, tolerance_mm),
                difference_u,
            )
        )
    return tuple(rows)


def _verdict(difference: float, guard: float, tolerance: float) -> str:
    if difference + guard <= tolerance:
        return EVEN
    return UNEVEN if difference - guard > tolerance else CANNOT_TELL
