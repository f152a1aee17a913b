"""What gauges say of a facing, as plain values in millimetres.

A blade of known thickness is slid from the tip until it stops: that is one `BladeStop`,
read in position at a known gap. The tip opening is the other way round: a gap read at
position zero, and so is a dial reading: a gap read at a position that was set. Everything else
in `core` starts from these.
"""

from dataclasses import dataclass

NOT_READ = {"-", "–", "—", "x"}  # typed where nothing was read
FURTHEST_MM = 80.0  # no facing is read further from its tip


@dataclass(frozen=True, slots=True)
class BladeStop:
    """Where one blade stops under one rail.

    `gap_mm` is the blade's thickness, `position_mm` the distance from the tip at which it
    stops. The two standard uncertainties are given only where they differ from the set's own
    (`Uncertainties`): a blade with a wider tolerance, a glass with coarser numbers. `dial` marks
    a place on the rail that a dial gave and no blade (see `dials`).
    """

    gap_mm: float
    position_mm: float
    gap_u_mm: float | None = None
    position_u_mm: float | None = None
    dial: bool = False


@dataclass(frozen=True, slots=True)
class DialReading:
    """The gap a dial shows at one position from the tip; a little below zero on a worn zero.

    `gap_u_mm` is its standard uncertainty where the dial is one of the register's; else the set's
    own (`Uncertainties.dial_gap_mm`) holds.
    """

    position_mm: float
    gap_mm: float
    gap_u_mm: float | None = None

    def u_mm(self, otherwise: float) -> float:
        """The gap's standard uncertainty."""
        return otherwise if self.gap_u_mm is None else self.gap_u_mm


@dataclass(frozen=True, slots=True)
class FacingReadings:
    """One measurement of a facing: both rails and the tip opening, any of which may be missing.

    `unread_mm` are the blades of the set that were felt on neither rail; `read_once` says that
    one number was given for both rails, so that nothing is known of how they differ. `confirmed`
    are the stops, by rail and blade (`blade_key`), that were read again and showed the same.
    """

    left: tuple[BladeStop, ...] = ()
    right: tuple[BladeStop, ...] = ()
    tip_opening_mm: float | None = None
    tip_u_mm: float | None = None
    dial_left: tuple[DialReading, ...] = ()
    dial_right: tuple[DialReading, ...] = ()
    unread_mm: tuple[float, ...] = ()
    read_once: bool = False
    confirmed: frozenset[tuple[str, int]] = frozenset()

    @property
    def has_rails(self) -> bool:
        """Whether anything was read along a rail."""
        return bool(self.left or self.right or self.dial_left or self.dial_right)


@dataclass(frozen=True, slots=True)
class Uncertainties:
    """Standard uncertainties (k = 1) in mm that hold for a whole set of readings.

    The defaults are those of the analysis service: a glass read to half a number with a
    careful hand, an ordinary blade, a wedge read to a hundredth, a dial read to a hundredth
    whose probe is set to a tenth.
    """

    position_mm: float = 0.15
    gap_mm: float = 0.003
    tip_mm: float = 0.01
    dial_gap_mm: float = 0.005
    dial_position_mm: float = 0.05


@dataclass(frozen=True, slots=True)
class ReadingEntry:
    """One reading as typed: the text, its scale, and what it means in mm (a volume in ml).

    `gap_mm` is a blade's thickness, `depth_mm` where along the piece it was read (how far into
    the bore, how far from the tip), `depth_typed` that place as typed, `name` what a length
    of the maker's own is called. A stop that fits the others worst and was read again, with the
    same number, is `confirmed`.
    """

    quantity: str
    rail: str
    gauge_id: int | None
    gap_mm: float | None
    depth_mm: float | None
    typed: str
    scale: str
    value_mm: float
    name: str = ""
    depth_typed: str = ""
    confirmed: bool = False
