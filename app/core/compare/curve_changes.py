"""Two analyses side by side: the curve that fits both, and the readings nothing rests on.

Which of several curves is chosen may differ from one day to the next though nothing was touched.
So two facings are held against each other on one curve that neither's readings refuse.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot

from app.core.facing.analysis import FacingAnalysis
from app.core.facing.curves import CURVES
from app.core.facing.evenness import blade_key
from app.core.facing.fits import CurveFit

RAILS_IN_ORDER = ("mean", "left", "right")


@dataclass(frozen=True, slots=True)
class CommonFits:
    """One curve fitted to the same rail of two facings; `rail` is "mean", "left" or "right"."""

    rail: str
    before: CurveFit
    after: CurveFit


def find_common_fits(before: FacingAnalysis, after: FacingAnalysis) -> CommonFits | None:
    """Give both fits of the curve chosen both times, else of the simplest refused in neither.

    The rail is the mean of both, else the first that both have. None where no curve was judged
    in both and not refused.
    """
    for rail in RAILS_IN_ORDER:
        one, other = getattr(before, rail), getattr(after, rail)
        if one is None or other is None:
            continue
        simplest = sorted(CURVES, key=lambda key: CURVES[key].free)
        alike = [one.chosen] if one.chosen == other.chosen else simplest
        for key in alike:
            first, second = one.fit(key), other.fit(key)
            if first and second and _stands(first) and _stands(second):
                return CommonFits(rail, first, second)
        return None
    return None


def _stands(fit: CurveFit) -> bool:
    return fit.p is not None and not fit.refused


def pair_curves(
    before: FacingAnalysis, after: FacingAnalysis
) -> Iterator[tuple[str, str, tuple[float, float], float]]:
    """List what the common curve gives for both: quantity, rail, values, u of the difference."""
    common = find_common_fits(before, after)
    if common is None:
        return
    one, other = common.before, common.after
    for quantity, name in (("break", "break_mm"), ("radius", "radius_mm")):
        if name in one.parameters:
            values = one.parameters[name], other.parameters[name]
            u = hypot(one.uncertainties[name], other.uncertainties[name])
            yield quantity, common.rail, values, u


def find_suspects(analysis: FacingAnalysis) -> frozenset[tuple[str, int]]:
    """Name the stops to take again, by rail and blade: each rail's own, else the mean's on both."""
    found = {
        (rail, blade_key(judged.stops[index].gap_mm))
        for rail in ("left", "right")
        if (judged := getattr(analysis, rail)) is not None
        for index in judged.suspect
        if not judged.stops[index].dial
    }
    if not found and analysis.mean is not None:
        found = {
            (rail, blade_key(analysis.mean.stops[index].gap_mm))
            for rail in ("left", "right")
            for index in analysis.mean.suspect
            if not analysis.mean.stops[index].dial
        }
    return frozenset(found)
