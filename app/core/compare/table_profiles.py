"""The table's own profile: hollow, flat or crowned along its length, or twisted, so that it rocks.

It is read as the gap under a straight edge laid along the table, at its heel, its middle and where
the facing begins, on one edge or on both; where the table stands proud the gap has a minus. How the
edge was tilted cancels: only the middle against the two ends tells, and one edge against the other.

The glass lies on the table. On one that is crowned or twisted it may lie either way, and with it
every stop and the tip: that is an error all of a set share (`tilt_u`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from app.core.facing.corrections import ToldReading
from app.core.values.readings import FacingReadings, ReadingEntry
from app.core.values.uncertainty import expanded
from app.core.values.units import format_mm, format_number

FLAT, HOLLOW, CROWNED, ROCKS = "flat", "hollow", "crowned", "rocks"
HEEL, MIDDLE, BREAK = "table_heel", "table_middle", "table_break"
EDGES = ("left", "right")
TABLE_MM = 40.0  # how long a table is where it wasn't read; from memory, no source
FLATTEN_FIRST = "Flatten it first, then read again."


@dataclass(frozen=True, slots=True)
class TableProfile:
    """What the gaps tell, in mm, with standard uncertainties: a verdict of this module.

    `bow_mm` is how far the middle lies below the line between heel and break (crowned: less than
    nothing), `twist_mm` how much more the left edge falls from break to heel than the right; each
    None where it wasn't read. `length_mm` is how long the table is.
    """

    verdict: str
    bow_mm: float | None
    bow_u_mm: float
    twist_mm: float | None
    twist_u_mm: float
    length_mm: float

    @property
    def is_firm(self) -> bool:
        """Whether the glass lies on it in one way only, as far as the gaps tell."""
        return self.verdict not in {CROWNED, ROCKS}

    @property
    def height_mm(self) -> float:
        """By how much the glass can rock, in mm at an end of the table: as read and its u more."""
        if self.verdict == CROWNED:
            return abs(self.bow_mm or 0.0) + self.bow_u_mm
        return abs(self.twist_mm or 0.0) + self.twist_u_mm if self.verdict == ROCKS else 0.0

    @property
    def roll_u(self) -> float:
        """How far the gap at either rail is in doubt, one against the other (k = 1), in mm."""
        return self.height_mm / 2.0 / sqrt(3.0) if self.verdict == ROCKS else 0.0

    def tilt_u(self, facing: FacingReadings, place_mm: float) -> float:
        """How far the gap at a place is in doubt, as a standard uncertainty in mm.

        The glass turns about the table's middle by up to ± its height on half the table's length;
        anything between is as likely (rectangular, GUM 4.3.7).
        """
        ends = [stop.position_mm for stop in (*facing.left, *facing.right)]
        middle = max(ends, default=0.0) + self.length_mm / 2.0
        return 2.0 * self.height_mm / self.length_mm / sqrt(3.0) * (middle - place_mm)


def judge_table(
    readings: Sequence[ReadingEntry], values: Sequence[ToldReading]
) -> TableProfile | None:
    """Judge a set's table by twice the standard uncertainty; None where too little was read."""
    gaps: dict[str, dict[str, ToldReading]] = {HEEL: {}, MIDDLE: {}, BREAK: {}}
    length_mm = TABLE_MM
    for reading, true in zip(readings, values, strict=True):
        if reading.quantity in gaps:
            gaps[reading.quantity][reading.rail] = true
        elif reading.quantity == "table_length":
            length_mm = true.value_mm
    bow = twist = None
    bow_u = twist_u = 0.0
    if all(gaps.values()):
        (heel, heel_u), (middle, middle_u), (near, near_u) = map(_mean, gaps.values())
        bow, bow_u = middle - (heel + near) / 2.0, hypot(middle_u, heel_u / 2.0, near_u / 2.0)
    if all(edge in gaps[place] for place in (HEEL, BREAK) for edge in EDGES):
        at = [gaps[place][edge] for place in (HEEL, BREAK) for edge in EDGES]
        twist = at[0].value_mm - at[1].value_mm - at[2].value_mm + at[3].value_mm
        twist_u = hypot(*(gap.u_mm for gap in at))
    if bow is None and twist is None:
        return None
    verdict = FLAT
    if twist is not None and abs(twist) > expanded(twist_u):
        verdict = ROCKS
    elif bow is not None and abs(bow) > expanded(bow_u):
        verdict = HOLLOW if bow > 0.0 else CROWNED
    return TableProfile(verdict, bow, bow_u, twist, twist_u, length_mm)


def _mean(edges: dict[str, ToldReading]) -> tuple[float, float]:
    n = len(edges)
    return (
        sum(gap.value_mm for gap in edges.values()) / n,
        hypot(*(gap.u_mm for gap in edges.values())) / n,
    )


def say_table(table: TableProfile) -> str:
    """Say in one sentence what the table is."""
    if table.verdict == ROCKS:
        size = _say_size(abs(table.twist_mm or 0.0), table.twist_u_mm)
        return f"The table is twisted by {size}: it rocks from edge to edge."
    if table.verdict == FLAT:
        u_mm = max(table.bow_u_mm, table.twist_u_mm)
        within = f"as far as these gaps tell: within ± {_round(u_mm)} mm."
        if table.bow_mm is None:
            return f"The table isn’t twisted, {within} Whether it is flat along it wasn’t read."
        if table.twist_mm is None:
            return f"The table is flat along its length, {within} Twist wasn’t read."
        return f"The table is flat, {within}"
    size = _say_size(abs(table.bow_mm or 0.0), table.bow_u_mm)
    if table.verdict == HOLLOW:
        return f"The table is hollow by {size} at its middle."
    return f"The table is crowned by {size} at its middle: it rocks from heel to tip."


def say_doubt(table: TableProfile, facing: FacingReadings) -> Iterator[str]:
    """Say what may not be relied on where the table isn't firm; nothing where it is."""
    if not table.is_firm:
        at_tip = format_mm(expanded(table.tilt_u(facing, 0.0)))
        rails = ", and how even the rails are" if table.verdict == ROCKS else ""
        yield (
            f"The glass may have lain on it either way: the tip is in doubt by ± {at_tip} mm, and "
            f"where the blades stop with it{rails}."
        )


def _say_size(mm: float, u_mm: float) -> str:
    return f"{format_mm(mm)} ± {_round(u_mm)} mm"


def _round(u_mm: float) -> str:
    return format_number(expanded(u_mm), 2, least=2)
