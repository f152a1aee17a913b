"""What changed between two sets of readings, and whether the gauges can tell: the one comparison.

Three questions are asked of the difference (`differences`). Each figure by itself: Eₙ =
|difference| / U, k = 2, in the form of ISO 13528. All of the facing together (`Joint`): generalised
least squares tells how much of the difference is a movement that work makes, all stops alike,
tilted along the facing, one rail against the other, or the tip; its χ² says whether chance explains
that. And which figures may be said to have changed (`told_changed`): where the facing has changed
as a whole, those beyond limits that all figures together pass by chance in one card of twenty;
else only those that stand out so far that it happens in one card of two hundred. So a piece that
nobody touched gets any "changed" about once in twenty cards, and eight stops that moved half a
number show together what none shows alone.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.special import chdtrc, ndtri

from app.core.compare.curve_changes import pair_curves
from app.core.compare.differences import (
    RAILS,
    Difference,
    Key,
    ReadSet,
    Vector,
    chance_of,
    take_difference,
)
from app.core.facing.analysis import FacingAnalysis, analyse_facing
from app.core.facing.corrections import find_shift, stop_slope
from app.core.facing.suspects import find_suspects
from app.core.values.regression import explain_difference
from app.core.values.uncertainty import expanded

CHANCE = 0.05  # of any "changed" on a piece nobody touched; common practice, no source
CHANCE_ALONE = CHANCE / 10.0  # of figures that stand out where the facing as a whole doesn't
QUANTITIES = {"blade": "position", "tip": "tip_opening"}
ALONG_GLASS = frozenset({"position", "facing_length"})
FACING = ALONG_GLASS | {"tip_opening"}


@dataclass(frozen=True, slots=True)
class Change:
    """One figure before and after, in mm (a volume in ml).

    `quantity` is "position" (of one blade under one rail), "tip_opening", "facing_length" (where
    the thinnest blade stops), "break" or "radius" of a curve that fits both, "taper" of the bore
    (mm per mm), or a key of `lengths.LENGTHS`. `gap_mm` names the blade where one was used, `rail`
    is "left", "right", "mean" or None. `expanded_uncertainty` is of the difference, k = 2;
    `changed` is Eₙ > 1, of this figure by itself. What may be said rests on `told_changed`.
    """

    key: Key
    quantity: str
    gap_mm: float | None
    rail: str | None
    before: float
    after: float
    expanded_uncertainty: float
    told_changed: bool = False

    @property
    def difference(self) -> float:
        """After minus before."""
        return self.after - self.before

    @property
    def en(self) -> float:
        """The difference as a part of its expanded uncertainty."""
        return abs(self.difference) / self.expanded_uncertainty

    @property
    def changed(self) -> bool:
        """Whether this figure by itself differs by more than the gauges leave in doubt."""
        return self.en > 1.0


@dataclass(frozen=True, slots=True)
class Joint:
    """The facing as a whole: χ² of what work could have moved, its degrees of freedom, p.

    `p` is None where nothing of it was read both times. `shift_mm` is by how much all stops
    together lie further from the tip, with its standard uncertainty; None without stops.
    """

    chi_square: float
    dof: int
    p: float | None
    shift_mm: float | None = None
    shift_u_mm: float | None = None

    @property
    def changed(self) -> bool:
        """Whether chance explains so much only in fewer than one case of twenty."""
        return self.p is not None and self.p < CHANCE

    @property
    def shifted(self) -> bool:
        """Whether the stops have moved together, judged as one of the movements looked at."""
        if not self.changed or self.shift_mm is None or self.shift_u_mm is None:
            return False
        return chance_of(self.shift_mm, self.shift_u_mm) < CHANCE / self.dof


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every figure read both times, the facing as a whole, and what each facing is by itself.

    From `suspects`, stops by rail and blade, nothing is said.
    """

    changes: tuple[Change, ...]
    joint: Joint
    before: FacingAnalysis
    after: FacingAnalysis
    suspects: frozenset[tuple[str, int]] = frozenset()

    @property
    def by_key(self) -> dict[Key, Change]:
        """The changes by what they are of."""
        return {change.key: change for change in self.changes}

    @property
    def told(self) -> tuple[Change, ...]:
        """What may be said to have changed, figure by figure."""
        return tuple(change for change in self.changes if change.told_changed)

    @property
    def moved(self) -> bool:
        """Whether anything may be said to have changed."""
        return self.joint.changed or bool(self.told)

    @property
    def shifted(self) -> bool:
        """Whether the stops have moved together, though none shows it alone."""
        return self.joint.shifted and not self._says(ALONG_GLASS)

    @property
    def unplaced(self) -> bool:
        """Whether the facing has changed as a whole, though nothing says where."""
        return self.joint.changed and not self.shifted and not self._says(FACING)

    def _says(self, quantities: frozenset[str]) -> bool:
        return any(change.quantity in quantities for change in self.told)


def compare(
    before: ReadSet,
    after: ReadSet,
    *,
    evenness_tolerance_mm: float = 0.5,
    trust_suspects: bool = False,
) -> Comparison:
    """Compare two sets, figure by figure where both have it, and the facing as a whole.

    A reading that is suspect in either set (`RailAnalysis.suspect`) is shown, but nothing is said
    from it, unless they are trusted. Raises MalformedReading like `analyse_facing`.
    """
    first, second = (
        analyse_facing(side.facing, side.uncertainties, evenness_tolerance_mm=evenness_tolerance_mm)
        for side in (before, after)
    )
    suspects = frozenset() if trust_suspects else find_suspects(first) | find_suspects(second)
    difference = take_difference(before, after)
    sure = np.array([key[0] != "blade" or key[1:] not in suspects for key in difference.keys])
    # a shorter tip is a closer one: its opening says nothing of where the curve is
    left_out = "tip" if before.shortened else None
    judged = [n for n, key in enumerate(difference.keys) if sure[n] and key[0] != left_out]
    joint = _judge_together(difference, judged)
    rows = list(_list_rows(difference))
    chances = [
        difference.chance(weights) if row.changed and sure[weights != 0.0].all() else 1.0
        for row, weights in rows
    ]
    level = CHANCE if joint.changed else CHANCE_ALONE
    told_rows = tell_apart(chances, level)
    changes = [replace(row, told_changed=n in told_rows) for n, (row, _) in enumerate(rows)]
    moved = joint.changed or bool(told_rows)
    for quantity, rail, (old, new), u in pair_curves(first, second):
        told_changed = moved and not suspects and chance_of(new - old, u) < level / len(rows)
        row = Change((quantity,), quantity, None, rail, old, new, expanded(u), told_changed)
        changes.append(row)
    return Comparison(tuple(changes), joint, first, second, suspects)


def tell_apart(chances: Sequence[float], level: float) -> frozenset[int]:
    """Find the figures that may be said to have changed, all at once, at a level (Holm, 1979).

    From the rarest on: the first by chance in less than level / m, the next in less than
    level / (m − 1), and so on until one isn't.
    """
    changed: list[int] = []
    for n in sorted(range(len(chances)), key=lambda n: chances[n]):
        if chances[n] >= level / (len(chances) - len(changed)):
            break
        changed.append(n)
    return frozenset(changed)


def _list_rows(difference: Difference) -> Iterator[tuple[Change, Vector]]:
    """List the figures as they were read, then what is worked out of them, with their weights."""
    eye = np.eye(len(difference.keys))
    for at, (key, figure) in enumerate(zip(difference.keys, difference.before, strict=True)):
        reading = figure.reading
        quantity = QUANTITIES.get(reading.quantity, reading.quantity)
        row = _row(difference, key, quantity, reading.gap_mm, reading.rail or None, eye[at])
        yield row, eye[at]
    if thinnest := _find_thinnest(difference.keys):
        weights, reading = eye[thinnest].mean(axis=0), difference.before[thinnest[0]].reading
        rail = "mean" if len(thinnest) == 2 else reading.rail
        key = ("facing_length",)
        yield _row(difference, key, key[0], reading.gap_mm, rail, weights), weights
    bores = [n for n, key in enumerate(difference.keys) if key[0] == "bore"]
    depths = np.array([float(difference.keys[n][2] or 0.0) for n in bores])  # type: ignore[arg-type]
    if len(bores) > 1:
        away = depths - depths.mean()
        weights = eye[bores].T @ away / float(away @ away)
        yield _row(difference, ("taper",), "taper", None, None, weights), weights


def _row(
    difference: Difference,
    key: Key,
    quantity: str,
    gap_mm: float | None,
    rail: str | None,
    weights: Vector,
) -> Change:
    before, after, u = difference.total(weights)
    return Change(key, quantity, gap_mm, rail, before, after, expanded(u))


def _find_thinnest(keys: Sequence[Key]) -> list[int]:
    """Find the stops of the thinnest blade that every rail read has both times."""
    blades: dict[object, list[int]] = {}
    for n, key in enumerate(keys):
        if key[0] == "blade":
            blades.setdefault(key[2], []).append(n)
    rails = {key[1] for key in keys if key[0] == "blade"}
    return next((blades[gap] for gap in sorted(blades) if len(blades[gap]) == len(rails)), [])  # type: ignore[type-var]


def _judge_together(difference: Difference, sure: Sequence[int]) -> Joint:
    """Judge the stops and the tip together by what work could have moved.

    Columns: all stops alike; tilted, in proportion to how far from the tip; right rail against
    left; the tip by itself. A tip alone in its column has no others that average its step away, nor
    have stops that are no more than their columns: they count as the normal of equal chance.
    """
    at = [n for n in sure if difference.keys[n][0] in QUANTITIES]
    if not at:
        return Joint(0.0, 0, None)
    keys = [difference.keys[n] for n in at]
    stop = np.array([key[0] == "blade" for key in keys])
    place = np.array([(difference.before[n].value + difference.after[n].value) / 2 for n in at])
    side = np.array([1.0 if key[1] == "right" else 0.0 for key in keys])
    columns = [stop * 1.0, ~stop * 1.0]
    columns += [stop * (column - column[stop].mean()) for column in (place, side) if stop.any()]
    design = np.column_stack([column for column in columns if np.abs(column).max() > 1e-9])
    covariance = difference.covariance[np.ix_(at, at)]
    values = difference.values[at]
    few = stop.sum() <= np.linalg.matrix_rank(design[stop]) if stop.any() else True
    eye = np.eye(len(difference.keys))
    for n, whole in enumerate(at):
        if few or not stop[n]:
            chance = max(difference.chance(eye[whole]), 1e-300)
            as_normal = sqrt(covariance[n, n]) * -float(ndtri(chance / 2.0))
            values[n] = np.copysign(as_normal, values[n])
    explained = explain_difference(design, values, covariance)
    shift = (explained.coefficients[0], explained.uncertainties[0]) if stop.any() else (None, None)
    p = float(chdtrc(explained.dof, explained.chi_square))
    return Joint(explained.chi_square, explained.dof, p, *shift)


def gap_uncertainties(before: ReadSet, after: ReadSet) -> dict[tuple[str, float], float]:
    """Say how well a difference of the gap is told at each of `after`'s blades and dial places.

    Keyed by rail and position (rounded to 1e-6 mm); expanded (k = 2), mm of gap. A blade's is the
    difference of two positions times the slope there; it is missing where nothing gives one.
    """
    shifts = {rail: find_shift(after.facing, rail) for rail in RAILS}
    expanded_us: dict[tuple[str, float], float] = {}
    for row, _ in _list_rows(take_difference(before, after)):
        if row.quantity == "position" and row.rail and row.gap_mm:
            if reach := stop_slope(shifts[row.rail], row.gap_mm):
                expanded_us[row.rail, round(row.after, 6)] = row.expanded_uncertainty / abs(reach)
        elif row.quantity == "dial" and row.rail:
            place = float(row.key[2] or 0.0)  # type: ignore[arg-type]
            expanded_us[row.rail, round(place, 6)] = row.expanded_uncertainty
    return expanded_us
