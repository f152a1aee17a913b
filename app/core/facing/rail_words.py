"""What kind of curve a rail is, how surely, and how the tip stands to it: in one sentence.

That a curve fits doesn't say that no other does: the break is told as a span over all that fit, and
the tip is placed only where all agree. Uncertainties in words are expanded, k = 2, as on every
paper; what is known no better than is of use isn't stated.
"""

from collections.abc import Iterator, Sequence
from math import ceil, floor

from app.core.facing import fits
from app.core.facing.fits import NONE_FITS, CurveFit, RailAnalysis
from app.core.values.readings import BladeStop
from app.core.values.uncertainty import expanded
from app.core.values.units import format_mm

USEFUL_BREAK_MM = 4.0  # a wider span says less than the facing length does; our own judgement
USEFUL_TIP_MM = 0.2  # a tip told no better is a guess
USEFUL_PART = 0.25  # of a radius or a half axis


def describe_rail(rail: RailAnalysis, name: str = "rails") -> str:
    """Say the curve and the tip in one sentence; `name` is "rails", "left rail" or "right rail"."""
    curve, tip = say_curve(rail, name), say_tip(rail)
    return f"{curve}; {tip}." if tip else f"{curve}."


def say_curve(rail: RailAnalysis, name: str = "rails") -> str:
    """Say which curve fits the rail and where it may meet the table, without the full stop."""
    fit = rail.chosen_fit
    if fit is not None:
        figures = ", ".join(_list_figures(fit))
        limits = say_break(rail, "between {} and {}")
        return f"{_name_curve(fit)} the {name}{f' ({figures})' if figures else ''}; " + (
            f"the break point lies {limits} mm from the tip"
            if limits
            else "where the break point lies, these readings don’t tell"
        )
    if runs_backwards(rail.stops):
        return (
            "A thicker blade stops nearer the tip than a thinner one; these readings run the other "
            "way, so no curve fits them"
        )
    if rail.judgement == NONE_FITS:
        return f"No plain curve fits the {name}; the line is drawn freely through the readings"
    return f"Too few readings to judge which curve fits the {name}"


def say_break(rail: RailAnalysis, words: str = "{} to {} mm") -> str:
    """Say the break's limits by every curve that fits, rounded outwards; nothing if too wide."""
    fit = rail.chosen_fit
    if fit is None:
        return ""
    low, high = rail.break_span_mm or fit.interval_95["break_mm"]
    if high is None or high - low > USEFUL_BREAK_MM:
        return ""
    low, high = floor(10.0 * low) / 10.0, ceil(10.0 * high) / 10.0
    return words.format(format_mm(low, 1), format_mm(high, 1))


def say_tip(rail: RailAnalysis) -> str:
    """Say how the measured tip stands to the curve, without capital or full stop; else nothing."""
    if rail.tip_offset_mm is None or rail.tip_offset_u_mm is None:
        return ""
    offset, expanded_u = format_mm(abs(rail.tip_offset_mm)), expanded(rail.tip_offset_u_mm)
    if expanded_u > USEFUL_TIP_MM:
        return ""
    within = f"± {format_mm(expanded_u)} mm"
    match rail.tip_stands:
        case fits.ON_CURVE:
            return f"the tip lies on that curve, within {within}"
        case fits.INSIDE:
            return f"the tip stands {offset} {within} inside that curve (closer than it points)"
        case fits.OUTSIDE:
            return f"the tip stands {offset} {within} outside that curve"
    return "how the tip stands to all the curves that fit can’t be told"


def runs_backwards(stops: Sequence[BladeStop]) -> bool:
    """Whether every two different blades stop the wrong way round, as if written in reverse."""
    pairs = [
        (stop.gap_mm - other.gap_mm) * (stop.position_mm - other.position_mm)
        for i, stop in enumerate(stops)
        for other in stops[:i]
        if stop.gap_mm != other.gap_mm
    ]
    return bool(pairs) and all(product > 0 for product in pairs)


def _name_curve(fit: CurveFit) -> str:
    if fit.curve == "easing":
        rate = fit.parameters["curvature_rate_per_mm2"]
        if abs(rate) > expanded(fit.uncertainties["curvature_rate_per_mm2"]):
            return f"A curve that bends evenly {'more' if rate > 0 else 'less'} toward the tip fits"
    return _NAMES[fit.curve]


_NAMES = {
    "arc": "A circular arc fits",
    "parabola": "A parabola fits",
    "ellipse": "An ellipse fits",
    "straight_tip": "An arc with a straight tip fits",
    "easing": "A curve whose bend changes evenly fits",
    "two_arcs": "Two arcs with one tangent fit",
}
# what a maker could measure of a curve, with places and unit
SHAPES: dict[str, tuple[str, int, str]] = {
    "radius_mm": ("radius", 0, "mm"),
    "tip_radius_mm": ("radius at the tip", 0, "mm"),
    "straight_from_mm": ("straight from", 1, "mm from the tip"),
    "join_mm": ("joined at", 1, "mm from the tip"),
    "half_length_mm": ("half-length", 1, "mm"),
    "half_height_mm": ("half-height", 2, "mm"),
}


def _list_figures(fit: CurveFit) -> Iterator[str]:
    """List the curve's own figures, as far as they are known well enough to be of use."""
    for name, (label, places, unit) in SHAPES.items():
        value = fit.parameters.get(name)
        if value is not None and expanded(fit.uncertainties[name]) <= USEFUL_PART * value:
            expanded_u = format_mm(expanded(fit.uncertainties[name]), places)
            yield f"{label} {format_mm(value, places)} ± {expanded_u} {unit}"
