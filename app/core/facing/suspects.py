"""Readings that fit the others worst, where all curves are refused: to be taken again.

When such a set is kept, the maker is asked about it; kept as it is, nothing is said from it. What
was read again and showed the same is confirmed: the facing is so, and is said to be.
"""

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from app.core.facing.analysis import FacingAnalysis, analyse_facing, are_fitted
from app.core.facing.corrections import correct_readings
from app.core.facing.evenness import BLADE_KEYS_PER_MM, blade_key
from app.core.facing.measurements import RAILS, SetEntry
from app.core.gauges.sizes import SetSizes
from app.core.values.readings import FacingReadings, ReadingEntry, Uncertainties
from app.core.values.units import format_blade

Stops = frozenset[tuple[str, int]]  # by rail and blade (`blade_key`)


@lru_cache(2048)  # a set is asked for on every page of its job
def suspects_of(facing: FacingReadings, uncertainties: Uncertainties) -> Stops:
    """Name the stops of a facing to take again. Raises MalformedReading."""
    if are_fitted(facing, uncertainties):
        return frozenset()
    return find_suspects(analyse_facing(facing, uncertainties))


def find_suspects(analysis: FacingAnalysis) -> Stops:
    """Name the stops to take again, by rail and blade: each rail's own, else the mean's on both.

    What was read again already is none of them.
    """
    suspects = {
        (rail, blade_key(judged.stops[index].gap_mm))
        for rail in RAILS
        if (judged := getattr(analysis, rail)) is not None
        for index in judged.suspect
        if not judged.stops[index].dial
    }
    if not suspects and analysis.mean is not None:
        suspects = {
            (rail, blade_key(analysis.mean.stops[index].gap_mm))
            for rail in RAILS
            for index in analysis.mean.suspect
            if not analysis.mean.stops[index].dial
        }
    return frozenset(suspects) - analysis.confirmed


def leave_out(facing: FacingReadings, suspects: Stops) -> FacingReadings:
    """A facing without the stops that are to be taken again."""
    if not suspects:
        return facing
    left, right = (
        tuple(
            stop for stop in getattr(facing, rail) if (rail, blade_key(stop.gap_mm)) not in suspects
        )
        for rail in RAILS
    )
    return replace(facing, left=left, right=right)


def leave_out_entries(
    readings: Iterable[ReadingEntry], suspects: Stops
) -> tuple[ReadingEntry, ...]:
    """Readings without those that are to be taken again."""
    return tuple(entry for entry in readings if not _is_suspect(entry, suspects))


def _is_suspect(entry: ReadingEntry, suspects: Stops) -> bool:
    return entry.quantity == "blade" and (entry.rail, blade_key(entry.gap_mm or 0.0)) in suspects


def say_again(suspects: Stops) -> str:
    """Name what is to be read again, such as the 0.010 in blade on the left rail; or nothing."""
    names = [
        f"the {format_blade(key / BLADE_KEYS_PER_MM)} blade on "
        + ("both rails" if len(rails) == 2 else f"the {rails[0]} rail")
        for key in sorted({key for _, key in suspects})
        if (rails := [rail for rail in RAILS if (rail, key) in suspects])
    ]
    return " and ".join(names)


def ask_suspects(entry: SetEntry, sizes: SetSizes) -> dict[str, str]:
    """Ask about the readings to take again, by the grid's field."""
    corrected = correct_readings(entry.readings, sizes)
    suspects = suspects_of(corrected.facing, corrected.uncertainties)
    return {
        f"b{stop.gauge_id}_{stop.rail}": (
            f"{stop.typed} with the {format_blade(stop.gap_mm or 0.0)} blade on the {stop.rail} "
            "rail fits the others worst. Read it again; until then nothing is said from it."
        )
        for stop in entry.readings
        if _is_suspect(stop, suspects)
    }
