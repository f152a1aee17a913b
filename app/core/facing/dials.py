"""Dial readings in the analysis: places on the rail, told the other way round from a blade's.

A blade is read in position at a known gap, a dial in gap at a set position. The fit weighs every
place on a rail by `u(position)² + (ds/dh · u(gap))²`, the effective variance, which serves both:
for a dial the position is set closely and the gap carries the error. So a dial reading enters the
fit as one more place, with its own two uncertainties.

Two kinds stay out, and are only shown. Near the table the gap is no larger than its error, and
where it is found along the rail can't be told. And at the tip itself the dial stands on the tip
rail, which the rails' curve need not reach: that is judged apart (see `rails`).

As with the tip, the dial is taken in only if it agrees: where the blades alone have a curve and
every curve is refused once the dial is in, the blades stand and the dial is shown beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, isfinite

from app.core.facing.curves import CURVES
from app.core.facing.fits import CHOSEN, RailAnalysis
from app.core.values.readings import BladeStop, DialReading, FacingReadings, Uncertainties
from app.core.values.uncertainty import expanded

LEAST_GAP_U = 5.0  # a gap of fewer uncertainties says too little of where it is
TIP_RAIL_MM = 0.5
SAME_PLACE_MM = 0.005


def enters_fit(reading: DialReading, uncertainties: Uncertainties) -> bool:
    """Whether a dial reading tells a place on the rail."""
    return reading.position_mm > TIP_RAIL_MM and reading.gap_mm >= LEAST_GAP_U * reading.u_mm(
        uncertainties.dial_gap_mm
    )


def dial_stops_of(
    facing: FacingReadings, uncertainties: Uncertainties
) -> dict[str, tuple[BladeStop, ...]]:
    """For "left", "right" and "mean": the places that may enter the fit.

    Averaging both rails helps the gap, whose error is the dial's; the position was set once.
    """
    usual = uncertainties.dial_gap_mm
    return {
        name: tuple(
            BladeStop(
                reading.gap_mm,
                reading.position_mm,
                reading.u_mm(usual),
                uncertainties.dial_position_mm,
                dial=True,
            )
            for reading in readings
            if enters_fit(reading, uncertainties)
        )
        for name, readings in (
            ("left", facing.dial_left),
            ("right", facing.dial_right),
            ("mean", mean_dials(facing.dial_left, facing.dial_right, usual)),
        )
    }


def mean_dials(
    left: Sequence[DialReading], right: Sequence[DialReading], usual_u_mm: float
) -> tuple[DialReading, ...]:
    """The mean gap wherever both rails were read at one position: u = √(u₁² + u₂²)/2."""
    return tuple(
        DialReading(
            reading.position_mm,
            (reading.gap_mm + other.gap_mm) / 2,
            hypot(reading.u_mm(usual_u_mm), other.u_mm(usual_u_mm)) / 2,
        )
        for reading in left
        for other in right
        if abs(reading.position_mm - other.position_mm) <= SAME_PLACE_MM
    )


def settle_dials(
    blades_alone: RailAnalysis | None, with_dial: RailAnalysis | None
) -> RailAnalysis | None:
    """Take the dial in where it agrees with the blades, or where they can't be judged alone."""
    if with_dial is None:
        return blades_alone
    if blades_alone and blades_alone.judgement == CHOSEN and with_dial.judgement != CHOSEN:
        return blades_alone
    return _forget_thinnest_dial(with_dial)


def _forget_thinnest_dial(rail: RailAnalysis) -> RailAnalysis:
    """Take away the curve's facing length where the thinnest place read was a dial's.

    The facing length is where the thinnest *blade* stops; a dial has no such thing.
    """
    if not rail.stops or not min(rail.stops, key=lambda stop: stop.gap_mm).dial:
        return rail
    fits = tuple(replace(fit, facing_length_mm=None, facing_length_u_mm=None) for fit in rail.fits)
    return replace(rail, fits=fits)


@dataclass(frozen=True, slots=True)
class DialPlace:
    """One position: the gap on each rail, how far each is from its rail's curve, and the rails.

    Gaps in mm; residuals (read minus curve), `difference_um` (right minus left) and `u_um`, its
    expanded uncertainty (k = 2), in µm. None where a rail was not read there, or has no curve.
    `left_in_fit` and `right_in_fit` say whether the reading was weighed in its rail's curve.
    """

    position_mm: float
    left_mm: float | None
    right_mm: float | None
    left_residual_um: float | None
    right_residual_um: float | None
    difference_um: float | None
    u_um: float
    left_in_fit: bool
    right_in_fit: bool


def list_dial_places(
    facing: FacingReadings,
    left: RailAnalysis | None,
    right: RailAnalysis | None,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
) -> tuple[DialPlace, ...]:
    """List every position a dial was read at, from the tip on."""
    lefts = {round(dial.position_mm, 2): dial for dial in facing.dial_left}
    rights = {round(dial.position_mm, 2): dial for dial in facing.dial_right}
    usual = uncertainties.dial_gap_mm
    places = []
    for position in sorted({*lefts, *rights}):
        dial, other = lefts.get(position), rights.get(position)
        places.append(
            DialPlace(
                position,
                dial.gap_mm if dial else None,
                other.gap_mm if other else None,
                _residual_um(dial, left),
                _residual_um(other, right),
                1000.0 * (other.gap_mm - dial.gap_mm) if dial and other else None,
                1000.0
                * expanded(hypot(*(read.u_mm(usual) if read else usual for read in (dial, other)))),
                _is_in_fit(dial, left),
                _is_in_fit(other, right),
            )
        )
    return tuple(places)


def _is_in_fit(reading: DialReading | None, rail: RailAnalysis | None) -> bool:
    return (
        reading is not None
        and rail is not None
        and any(stop.dial and stop.position_mm == reading.position_mm for stop in rail.stops)
    )


def _residual_um(reading: DialReading | None, rail: RailAnalysis | None) -> float | None:
    fit = rail.fit(rail.chosen) if rail else None
    if reading is None or fit is None:
        return None
    try:
        gap_mm = float(CURVES[fit.curve].gap_at(fit.parameters, reading.position_mm))
    except ValueError:
        return None
    return 1000.0 * (reading.gap_mm - gap_mm) if isfinite(gap_mm) else None


def say_dials(
    facing: FacingReadings, left: RailAnalysis | None, right: RailAnalysis | None
) -> list[str]:
    """Say, rail by rail, whether the dial agrees with the blades and how far it strays."""
    words = []
    places = list_dial_places(facing, left, right)
    for rail, judged, readings in (
        ("left", left, facing.dial_left),
        ("right", right, facing.dial_right),
    ):
        residuals = [
            (abs(residual_um), place.position_mm)
            for place in places
            if place.position_mm > TIP_RAIL_MM
            and (residual_um := getattr(place, f"{rail}_residual_um")) is not None
        ]
        if not readings or not residuals or judged is None:
            continue
        most, at = max(residuals)
        if any(stop.dial for stop in judged.stops):
            words.append(
                f"The dial’s readings on the {rail} rail lie within {most:.0f} µm of its curve, "
                f"furthest at {at:g} mm."
            )
        else:
            words.append(
                f"On the {rail} rail the dial does not agree with the blades: it strays "
                f"{most:.0f} µm from their curve at {at:g} mm. It is shown and not weighed; "
                "check the dial’s zero on the table and where its probe touches."
            )
    return words
