"""Two analyses side by side: the curve that fits both, and the readings nothing rests on.

Which of several curves is chosen may differ from one day to the next though nothing was touched.
So two facings are held against each other on one curve that neither's readings refuse.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import hypot

from app.core.facing.analysis import FacingAnalysis
from app.core.facing.curves import CURVES
from app.core.facing.fits import CurveFit, RailAnalysis, may_be
from app.core.facing.wording import main_rail
from app.core.values.uncertainty import COVERAGE_FACTOR

RAIL_NAMES = {"mean": "rails", "left": "left rail", "right": "right rail"}


@dataclass(frozen=True, slots=True)
class CommonFits:
    """One curve fitted to the same rail of two facings; `rail` is "mean", "left" or "right"."""

    rail: str
    before: CurveFit
    after: CurveFit


def find_common_fits(before: FacingAnalysis, after: FacingAnalysis) -> CommonFits | None:
    """Both fits of the curve chosen both times, else of the simplest refused in neither.

    The rail is the mean of both, else the first that both have. None where no curve was judged
    in both and not refused.
    """
    for rail in RAIL_NAMES:
        earlier, later = getattr(before, rail), getattr(after, rail)
        if earlier is None or later is None:
            continue
        simplest = sorted(CURVES, key=lambda key: CURVES[key].free)
        alike = [earlier.chosen] if earlier.chosen == later.chosen else simplest
        for key in alike:
            first, second = earlier.fit(key), later.fit(key)
            if first and second and first.passed and second.passed:
                return CommonFits(rail, first, second)
        return None
    return None


def speak_of(
    before: FacingAnalysis, after: FacingAnalysis
) -> list[tuple[str, RailAnalysis] | None]:
    """The rail of each to speak of, named: by the curve that fits both, if any does."""
    common = find_common_fits(before, after)
    if common is None:
        return [main_rail(before), main_rail(after)]
    spoken: list[tuple[str, RailAnalysis] | None] = []
    for analysis in (before, after):
        rail: RailAnalysis = getattr(analysis, common.rail)
        if rail.chosen != common.before.curve:  # how the tip stands was told by another curve
            rail = replace(rail, chosen=common.before.curve, tip_offset_mm=None)
        spoken.append((RAIL_NAMES[common.rail], rail))
    return spoken


def pair_curves(
    before: FacingAnalysis, after: FacingAnalysis
) -> Iterator[tuple[str, str, tuple[float, float], float]]:
    """List what the common curve gives for both: quantity, rail, values, u of the difference.

    The u of the break is so wide that it covers what every other curve that fits both would say.
    """
    common = find_common_fits(before, after)
    if common is None:
        return
    fit, other = common.before, common.after
    by, u = _difference_of(fit, other, "break_mm")
    rails = getattr(before, common.rail), getattr(after, common.rail)
    for first in filter(may_be, rails[0].fits):
        second = rails[1].fit(first.curve)
        if second is not None and may_be(second):
            by_this, u_of_this = _difference_of(first, second, "break_mm")
            u = max(u, abs(by_this - by) / COVERAGE_FACTOR + u_of_this)
    yield "break", common.rail, (fit.parameters["break_mm"], other.parameters["break_mm"]), u
    if "radius_mm" in fit.parameters:
        values = fit.parameters["radius_mm"], other.parameters["radius_mm"]
        yield "radius", common.rail, values, _difference_of(fit, other, "radius_mm")[1]


def _difference_of(fit: CurveFit, other: CurveFit, name: str) -> tuple[float, float]:
    by = other.parameters[name] - fit.parameters[name]
    return by, hypot(fit.uncertainties[name], other.uncertainties[name])
