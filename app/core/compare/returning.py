"""A piece that comes back: has its facing moved since it left, in one plain verdict.

A comparison judges each quantity by itself, so that of twenty that did not change about one says
otherwise by chance. A client is told one thing about the whole facing: here a single blade or the
tip counts as moved only beyond a limit that all of them together pass by chance but once in twenty
visits. What lies between is called a doubt, to be read again before anything is said.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot
from statistics import NormalDist

from app.core.compare.comparison import Change, compare_facings
from app.core.facing.evenness import blade_key
from app.core.values.forms import plural
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.uncertainty import expanded
from app.core.values.units import format_blade, format_mm

# once in twenty visits at most: common practice, no source
CHANCE = 0.05
MOST_TOLD = 3
SAME, DOUBT, MOVED, NOTHING = "same", "doubt", "moved", "nothing"


@dataclass(frozen=True, slots=True)
class Returning:
    """The verdict, one of `SAME`, `DOUBT`, `MOVED`, `NOTHING`; its sentence, and what it rests on.

    `count` is how many readings were taken both times.
    """

    verdict: str
    words: str
    basis: str
    count: int


@dataclass(frozen=True, slots=True)
class _Move:
    """One thing to say: `ratio` is |difference| over its expanded uncertainty."""

    words: str
    ratio: float


@lru_cache(maxsize=64)
def tell_returning(
    left: FacingReadings,
    now: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    same_blades: bool = True,
) -> Returning:
    """Hold a piece as received now against the same piece as returned last time.

    With n readings taken both times, one has moved if |difference| / u exceeds the two-sided
    normal quantile of 0.05 / n (Bonferroni's bound), a doubt if it exceeds 2. Raises
    MalformedReading like `compare_facings`.
    """
    changes = [
        change
        for change in compare_facings(left, now, uncertainties, same_blades=same_blades)
        if change.quantity in {"position", "tip_opening"}
    ]
    if not changes:
        return Returning(NOTHING, "Nothing was read both times, so it can’t be told.", "", 0)
    # an expanded uncertainty is two standard ones
    limit = NormalDist().inv_cdf(1.0 - CHANCE / (2 * len(changes))) / 2.0
    basis = _say_basis(changes)
    for verdict, least in ((MOVED, max(1.0, limit)), (DOUBT, 1.0)):
        beyond = [change for change in changes if change.en > least]
        if beyond:
            words = _say_moves(_list_moves(beyond, changes), verdict)
            return Returning(verdict, words, basis, len(changes))
    words = "It came back as it left: no change the gauges can tell."
    return Returning(SAME, words, basis, len(changes))


def _list_moves(beyond: Sequence[Change], changes: Sequence[Change]) -> Iterator[_Move]:
    """Say the tip, then blade by blade; rails that moved alike are said once."""
    for change in beyond:
        if change.quantity == "tip_opening":
            way = "more open" if change.difference > 0 else "closer"
            size = _say_size(change.difference, change.expanded_uncertainty)
            yield _Move(f"the tip is {size} {way}", float("inf"))
    thinnest = min((c.gap_mm for c in changes if c.gap_mm is not None), default=0.0)
    blades = {blade_key(c.gap_mm): c.gap_mm for c in beyond if c.gap_mm is not None}
    for key, gap in sorted(blades.items()):
        moved = [c for c in beyond if c.gap_mm is not None and blade_key(c.gap_mm) == key]
        read = [c for c in changes if c.gap_mm is not None and blade_key(c.gap_mm) == key]
        longest = gap == thinnest
        if len(read) == 2 and read[0].difference * read[1].difference > 0:
            yield _say_both(gap, read, longest)
            continue
        for change in moved:
            size = _say_size(change.difference, change.expanded_uncertainty)
            words = f"the {format_blade(gap)} blade stops {size} {_way(change.difference)}"
            yield _Move(f"{words} on the {change.rail} rail", change.en)


def _say_both(gap_mm: float, read: Sequence[Change], longest: bool) -> _Move:
    """Say the mean of both rails; at the thinnest blade it is the facing's length."""
    difference = sum(c.difference for c in read) / 2.0
    u = expanded(hypot(*(c.expanded_uncertainty / 2.0 for c in read)) / 2.0)
    size = _say_size(difference, u)
    if longest:
        words = f"the facing is {size} {'longer' if difference > 0 else 'shorter'}"
    else:
        words = f"the {format_blade(gap_mm)} blade stops {size} {_way(difference)}"
    return _Move(words, max(c.en for c in read))


def _way(difference_mm: float) -> str:
    return "further from the tip" if difference_mm > 0 else "nearer the tip"


def _say_size(difference_mm: float, expanded_mm: float) -> str:
    return f"{format_mm(abs(difference_mm))} ± {format_mm(expanded_mm)} mm"


def _say_moves(moves: Iterator[_Move], verdict: str) -> str:
    told = sorted(moves, key=lambda move: -move.ratio)
    parts = [move.words for move in told[:MOST_TOLD]]
    if len(told) > MOST_TOLD:
        parts.append(f"{len(told) - MOST_TOLD} more")
    listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    if verdict == MOVED:
        return f"It has moved: {listed}."
    return (
        f"It may have moved: {listed}. With this many readings that much happens by chance: "
        "read it again before you say so."
    )


def _say_basis(changes: Sequence[Change]) -> str:
    """Say what was read both times, and how small a change would not show."""
    tips = [c for c in changes if c.quantity == "tip_opening"]
    blades = [c for c in changes if c.quantity == "position"]
    read = ["the tip"] if tips else []
    unseen = [f"of the tip below {format_mm(tips[0].expanded_uncertainty)} mm"] if tips else []
    if blades:
        read.append(plural(len(blades), "blade reading"))
        most = max(c.expanded_uncertainty for c in blades)
        unseen.append(f"of a blade below {format_mm(most, 1)} mm along the glass")
    return f"Read both times: {' and '.join(read)}. A change {' or '.join(unseen)} would not show."
