"""What gauges say of a facing, as plain values in millimetres.

A blade of known thickness is slid from the tip until it stops: that is one `BladeStop`,
read in position at a known gap. The tip opening is the other way round: a gap read at
position zero. Everything else in `core` starts from these.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BladeStop:
    """Where one blade stops under one rail.

    `gap_mm` is the blade's thickness, `position_mm` the distance from the tip at which it
    stops. The two standard uncertainties are given only where they differ from the set's own
    (`Uncertainties`): a blade with a wider tolerance, a glass with coarser numbers.
    """

    gap_mm: float
    position_mm: float
    gap_u_mm: float | None = None
    position_u_mm: float | None = None


@dataclass(frozen=True, slots=True)
class FacingReadings:
    """One measurement of a facing: both rails and the tip opening, any of which may be missing."""

    left: tuple[BladeStop, ...] = ()
    right: tuple[BladeStop, ...] = ()
    tip_opening_mm: float | None = None
    tip_u_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Uncertainties:
    """Standard uncertainties (k = 1) in mm that hold for a whole set of readings.

    The defaults are those of the analysis service: a glass read to half a number with a
    careful hand, an ordinary blade, a wedge read to a hundredth.
    """

    position_mm: float = 0.15
    gap_mm: float = 0.003
    tip_mm: float = 0.01
