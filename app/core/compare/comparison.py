"""What changed between two measurements, by how much, and whether the gauges can tell.

Each quantity gets before, after, difference, expanded uncertainty of the difference (k = 2) and
Eₙ = |difference| / U. Above 1 it has changed; up to 1 there is no change the gauges can tell.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot

from app.core.facing.analysis import FacingAnalysis, RailAnalysis
from app.core.facing.evenness import blade_key
from app.core.facing.recalling import recall_analysis
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.core.values.uncertainty import expanded

RAILS = ("left", "right")
CHANGED, NO_CHANGE = "changed", "no change the gauges can tell"


@dataclass(frozen=True, slots=True)
class Change:
    """One quantity before and after, in mm.

    `quantity` is "position" (of one blade under one rail), "tip_opening", "facing_length" (where
    the thinnest blade stops), "break" or "radius" of the chosen curve. `gap_mm` names the blade
    where one was used, `rail` is "left", "right", "mean" or None. `expanded_uncertainty` is of
    the difference, k = 2.
    """

    quantity: str
    gap_mm: float | None
    rail: str | None
    before: float
    after: float
    difference: float
    expanded_uncertainty: float
    en: float
    changed: bool

    @property
    def verdict(self) -> str:
        """The words for the card."""
        return CHANGED if self.changed else NO_CHANGE


def _change(
    quantity: str, gap_mm: float | None, rail: str | None, before: float, after: float, u: float
) -> Change:
    difference, expanded_u = after - before, expanded(u)
    en = abs(difference) / expanded_u
    return Change(quantity, gap_mm, rail, before, after, difference, expanded_u, en, en > 1.0)


def compare_facings(
    before: FacingReadings,
    after: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    same_blades: bool = True,
) -> tuple[Change, ...]:
    """Compare two measurements, quantity by quantity, where both have it.

    With `same_blades` a blade's own error is the same both times and only the change of the
    slope lets it through; otherwise it counts twice. Raises MalformedReading like
    `analyse_facing`.
    """
    first, second = (recall_analysis(one, uncertainties) for one in (before, after))
    analyses = (first, second)
    changes: list[Change] = []
    for rail in RAILS:
        changes.extend(
            _compare_stops(
                rail,
                (getattr(before, rail), getattr(after, rail)),
                (getattr(analyses[0], rail), getattr(analyses[1], rail)),
                uncertainties,
                same_blades,
            )
        )
    if before.tip_opening_mm is not None and after.tip_opening_mm is not None:
        u = hypot(before.tip_u_mm or uncertainties.tip_mm, after.tip_u_mm or uncertainties.tip_mm)
        changes.append(
            _change("tip_opening", None, None, before.tip_opening_mm, after.tip_opening_mm, u)
        )
    changes.extend(_compare_facing_length(changes))
    changes.extend(_compare_curves(*analyses))
    return tuple(changes)


def gap_uncertainties(
    before: FacingReadings,
    after: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
) -> dict[tuple[str, float], float]:
    """Say how well a difference of the gap is told at each of `after`'s blades and dial places.

    Keyed by rail and position (rounded to 1e-6 mm); expanded (k = 2), mm of gap. A blade's is the
    difference of two positions times the slope there; it is missing where no curve gives one.
    """
    analysis = recall_analysis(after, uncertainties)
    # a rail's reaches go on after its blades with those of its dial readings
    reaches = {
        (rail, blade_key(stop.gap_mm)): reach
        for rail in RAILS
        for stop, reach in zip(
            getattr(after, rail), _reach_per_gap(getattr(analysis, rail)), strict=False
        )
    }
    spreads: dict[tuple[str, float], float] = {}
    for change in compare_facings(before, after, uncertainties):
        reach = reaches.get((change.rail or "", blade_key(change.gap_mm or 0.0)))
        if change.quantity == "position" and change.rail and reach:
            spreads[change.rail, round(change.after, 6)] = change.expanded_uncertainty / reach
    for rail in RAILS:
        usual = uncertainties.dial_gap_mm
        earlier = {one.position_mm: one.u_mm(usual) for one in getattr(before, f"dial_{rail}")}
        for one in getattr(after, f"dial_{rail}"):
            u = hypot(one.u_mm(usual), earlier.get(one.position_mm, usual))
            spreads[rail, round(one.position_mm, 6)] = expanded(u)
    return spreads


def _compare_stops(
    rail: str,
    stops: tuple[tuple[BladeStop, ...], tuple[BladeStop, ...]],
    analyses: tuple[RailAnalysis | None, RailAnalysis | None],
    uncertainties: Uncertainties,
    same_blades: bool,
) -> Iterator[Change]:
    reaches = [_reach_per_gap(analysis) for analysis in analyses]
    later = {blade_key(stop.gap_mm): (stop, i) for i, stop in enumerate(stops[1])}
    for i, before in enumerate(stops[0]):
        if blade_key(before.gap_mm) not in later:
            continue
        after, k = later[blade_key(before.gap_mm)]
        pair = ((before, reaches[0][i]), (after, reaches[1][k]))
        read = hypot(*(_or(stop.position_u_mm, uncertainties.position_mm) for stop, _ in pair))
        blade = [reach * _or(stop.gap_u_mm, uncertainties.gap_mm) for stop, reach in pair]
        common = abs(blade[1] - blade[0]) if same_blades else hypot(*blade)
        yield _change(
            "position", before.gap_mm, rail, before.position_mm, after.position_mm,
            hypot(read, common),
        )  # fmt: skip


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _reach_per_gap(analysis: RailAnalysis | None) -> Sequence[float]:
    """How far each blade's stop moves per mm of its thickness, on the chosen curve; else 0."""
    if analysis is None:
        return ()
    fit = analysis.chosen_fit
    return fit.reach_per_gap if fit else [0.0] * len(analysis.stops)


def _compare_facing_length(changes: list[Change]) -> Iterator[Change]:
    """Compare the mean of both rails at the thinnest blade all readings share."""
    stops = {
        rail: {c.gap_mm: c for c in changes if c.rail == rail and c.gap_mm is not None}
        for rail in RAILS
    }
    told = [rail for rail in RAILS if stops[rail]]
    shared = set.intersection(*(set(stops[rail]) for rail in told)) if told else set()
    if not shared:
        return
    gap = min(shared)
    found = [stops[rail][gap] for rail in told]
    u = hypot(*(change.expanded_uncertainty / 2.0 for change in found)) / len(found)
    yield _change(
        "facing_length", gap, "mean" if len(found) == 2 else told[0],
        sum(c.before for c in found) / len(found), sum(c.after for c in found) / len(found), u,
    )  # fmt: skip


def _compare_curves(before: FacingAnalysis, after: FacingAnalysis) -> Iterator[Change]:
    """Compare break and radius where both measurements chose a curve for the same rail."""
    for rail in ("mean", "left", "right"):
        sides = (getattr(before, rail), getattr(after, rail))
        fits = [side.chosen_fit for side in sides if side is not None]
        if len(fits) < 2 or fits[0] is None or fits[1] is None:
            continue
        names = [("break", "break_mm")]
        if fits[0].curve == fits[1].curve:
            names.append(("radius", "radius_mm"))
        for quantity, name in names:
            if name in fits[0].parameters and name in fits[1].parameters:
                yield _change(
                    quantity, None, rail, fits[0].parameters[name], fits[1].parameters[name],
                    hypot(fits[0].uncertainties[name], fits[1].uncertainties[name]),
                )  # fmt: skip
        return
