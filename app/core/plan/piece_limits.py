"""What a plan must know of the piece itself: where its window and table end, what it can lose."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.values.forms import Fields, Refused
from app.core.values.units import SCALES

# without better knowledge: as the service has it, and always some way beyond the facing
USUAL_TABLE_END_MM = 40.0
BEYOND_FACING_MM = 15.0


@dataclass(frozen=True, slots=True)
class PieceLimits:
    """A piece's own limits; None where they are not known.

    `window_end_mm` is the window's lower edge from the tip, `table_length_mm` from there to the
    table's end, `table_allowance_mm` what table and shank can lose. The slopes are those behind
    the tip rail and of the beak, in degrees against the table.
    """

    window_end_mm: float | None = None
    table_length_mm: float | None = None
    table_allowance_mm: float | None = None
    tip_slope_deg: float | None = None
    beak_slope_deg: float | None = None


def parse_limits(raw: Mapping[str, str]) -> PieceLimits | Refused:
    """Read the plan page's part about the piece; what is empty is not known."""
    fields = Fields(raw)
    values: dict[str, float | None] = {}
    for name, what, most in (
        ("window_end", "The window’s lower edge", 120.0),
        ("table_length", "The table’s length", 150.0),
        ("table_allowance", "What the table can lose", 5.0),
        ("tip_slope", "The slope behind the tip rail", 89.0),
        ("beak_slope", "The slope of the beak", 89.0),
    ):
        unit = "degrees" if name.endswith("slope") else "mm"
        value = fields.length_mm(name, SCALES["length_mm"])
        if value is not None and not 0 < value <= most:
            fields.refuse(name, f"{what} is more than 0 and at most {most:g} {unit}.")
        values[name] = value
    limits = PieceLimits(
        window_end_mm=values["window_end"],
        table_length_mm=values["table_length"],
        table_allowance_mm=values["table_allowance"],
        tip_slope_deg=values["tip_slope"],
        beak_slope_deg=values["beak_slope"],
    )
    return fields.refused() or limits


def find_table_end(limits: PieceLimits, furthest_mm: float) -> float:
    """The distance from the tip to the table's end: as measured, else a usual one.

    `furthest_mm` is where the thinnest blade stops, now or in the end, whichever is further.
    """
    if limits.window_end_mm is not None and limits.table_length_mm is not None:
        return limits.window_end_mm + limits.table_length_mm
    return max(USUAL_TABLE_END_MM, furthest_mm + BEYOND_FACING_MM)
