"""What kind of curve a rail is, how surely, and how the tip stands to it: in one sentence.

Uncertainties in words are expanded, k = 2, as on every paper.
"""

from collections.abc import Sequence

from app.core.facing.fits import CurveFit, RailAnalysis
from app.core.values.readings import BladeStop
from app.core.values.uncertainty import expanded
from app.core.values.units import format_mm


def describe_rail(rail: RailAnalysis, name: str = "rails") -> str:
    """Say the curve and the tip in one sentence; `name` is "rails", "left rail" or "right rail"."""
    curve, tip = say_curve(rail, name), say_tip(rail)
    return f"{curve}; {tip}." if tip else f"{curve}."


def say_curve(rail: RailAnalysis, name: str = "rails") -> str:
    """Say which curve the rail follows and where it meets the table, without the full stop."""
    fit = rail.chosen_fit
    many = name == "rails"
    if fit is not None:
        return (
            f"The {name} {'follow' if many else 'follows'} {_say_shape(fit)} and "
            f"{'meet' if many else 'meets'} the table {_say(fit, 'break_mm', 1)} mm from the tip "
            "(the break point)"
        )
    if runs_backwards(rail.stops):
        return (
            "A thicker blade stops nearer the tip than a thinner one; these readings run the other "
            "way, so no curve fits them"
        )
    if rail.judgement == "none fits":
        return f"No plain curve fits the {name}; the line is drawn freely through the readings"
    return f"Too few readings to judge which curve the {name} {'follow' if many else 'follows'}"


def say_tip(rail: RailAnalysis) -> str:
    """Say how the measured tip stands to the curve, without capital or full stop; else nothing."""
    if rail.chosen is None or rail.tip_offset_mm is None or rail.tip_offset_u_mm is None:
        return ""
    offset, spread = rail.tip_offset_mm, expanded(rail.tip_offset_u_mm)
    if abs(offset) <= spread:
        return f"the tip lies on that curve, within ± {format_mm(spread)} mm"
    side = "inside that curve (closer than it points)" if offset < 0 else "outside that curve"
    return f"the tip stands {format_mm(abs(offset))} ± {format_mm(spread)} mm {side}"


def runs_backwards(stops: Sequence[BladeStop]) -> bool:
    """Whether every two different blades stop the wrong way round, as if written in reverse."""
    pairs = [
        (one.gap_mm - other.gap_mm) * (one.position_mm - other.position_mm)
        for i, one in enumerate(stops)
        for other in stops[:i]
        if one.gap_mm != other.gap_mm
    ]
    return bool(pairs) and all(product > 0 for product in pairs)


def _say_shape(fit: CurveFit) -> str:
    match fit.curve:
        case "arc":
            return f"a circular arc of radius {_say(fit, 'radius_mm')} mm"
        case "ellipse":
            axes = f"{_say(fit, 'half_length_mm', 1)} and {_say(fit, 'half_height_mm', 1)}"
            return f"an ellipse of half axes {axes} mm"
        case "straight_tip":
            straight = _say(fit, "straight_from_mm", 1)
            return (
                f"an arc with a straight tip (radius {_say(fit, 'radius_mm')} mm, straight from "
                f"{straight} mm to the tip)"
            )
        case "easing":
            grows = fit.parameters["curvature_rate_per_mm2"] > 0
            return f"a curve that bends evenly {'more' if grows else 'less'} toward the tip"
        case "two_arcs":
            return (
                f"two arcs with one tangent (radius {_say(fit, 'radius_mm')} mm from the break, "
                f"{_say(fit, 'tip_radius_mm')} mm from {_say(fit, 'join_mm', 1)} mm to the tip)"
            )
    return f"a {fit.curve}"


def _say(fit: CurveFit, name: str, places: int = 0) -> str:
    value, u = fit.parameters[name], expanded(fit.uncertainties[name])
    return f"{format_mm(value, places)} ± {format_mm(u, places)}"
