"""Readings that fit the others worst, where all curves are refused: to be taken again.

When such a set is kept, the maker is asked about it; kept as it is, nothing is said from it.
"""

from dataclasses import replace

from app.core.facing.analysis import FacingAnalysis, analyse_facing
from app.core.facing.corrections import correct_readings
from app.core.facing.evenness import blade_key
from app.core.facing.measurements import RAILS, SetEntry
from app.core.gauges.sizes import SetSizes
from app.core.values.readings import FacingReadings
from app.core.values.units import format_blade


def find_suspects(analysis: FacingAnalysis) -> frozenset[tuple[str, int]]:
    """Name the stops to take again, by rail and blade: each rail's own, else the mean's on both."""
    found = {
        (rail, blade_key(judged.stops[index].gap_mm))
        for rail in RAILS
        if (judged := getattr(analysis, rail)) is not None
        for index in judged.suspect
        if not judged.stops[index].dial
    }
    if not found and analysis.mean is not None:
        found = {
            (rail, blade_key(analysis.mean.stops[index].gap_mm))
            for rail in RAILS
            for index in analysis.mean.suspect
            if not analysis.mean.stops[index].dial
        }
    return frozenset(found)


def leave_out(facing: FacingReadings, suspects: frozenset[tuple[str, int]]) -> FacingReadings:
    """A facing without the stops that are to be taken again."""
    if not suspects:
        return facing
    left, right = (
        tuple(one for one in getattr(facing, rail) if (rail, blade_key(one.gap_mm)) not in suspects)
        for rail in RAILS
    )
    return replace(facing, left=left, right=right)


def ask_suspects(entry: SetEntry, sizes: SetSizes) -> dict[str, str]:
    """Ask about the readings to take again, by the grid's field."""
    told = correct_readings(entry.readings, sizes)
    suspects = find_suspects(analyse_facing(told.facing, told.uncertainties))
    return {
        f"b{one.gauge_id}_{one.rail}": (
            f"{one.typed} with the {format_blade(one.gap_mm or 0.0)} blade on the {one.rail} rail "
            "fits the others worst. Read it again; kept as it is, nothing is said from it."
        )
        for one in entry.readings
        if one.quantity == "blade" and (one.rail, blade_key(one.gap_mm or 0.0)) in suspects
    }
