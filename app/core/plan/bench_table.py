"""The bench's table: each blade and the tip as received, last read, wanted, and still to go.

Everything is said in the numbers the gauges show: where the blade stops on the glass, what the
wedge reads. What is still to go is how much further a blade, or the tip, must come.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.facing.evenness import blade_key
from app.core.facing.measurements import RAILS, Blade, GaugesInUse, cell_name
from app.core.plan.bench import BenchState, BladeLeft
from app.core.plan.facings import Target, place_blades
from app.core.plan.targets import format_stop
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.uncertainty import expanded
from app.core.values.units import Scale, format_number, format_on_scale, to_scale

UNREAD = "–"


@dataclass(frozen=True, slots=True)
class ToGo:
    """What is still to go at one place, in words, and its state (a key of `bench.STATES`)."""

    words: str
    state: str


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of the table; `fields` are the form's cells, one for each rail or one for the tip.

    `received`, `last` and `target` are numbers as the gauge shows them, "21.5/22" where the rails
    differ, "–" where a blade was not read, and empty without such readings.
    """

    label: str
    fields: tuple[str, ...]
    names: tuple[str, ...]
    received: str
    last: str
    target: str


def list_rows(
    gauges: GaugesInUse,
    received: FacingReadings | None,
    last: FacingReadings | None,
    target: Target | None,
) -> tuple[TableRow, ...]:
    """List a row for each blade, in the order of `gauges`, and one for the tip."""
    wanted = _read_target(target, gauges)
    rows = [
        TableRow(
            blade.label,
            tuple(cell_name(blade, rail) for rail in RAILS),
            tuple(f"{rail} rail, {blade.label}" for rail in RAILS),
            *(_write_blade(one, blade, gauges.glass) for one in (received, last, wanted)),
        )
        for blade in gauges.shown
    ]
    tips = (_write_tip(one, gauges.tip) for one in (received, last, wanted))
    names = (f"tip opening, {gauges.tip.label}",)
    return (*rows, TableRow("Tip opening", ("tip",), names, *tips))


def _read_target(target: Target | None, gauges: GaugesInUse) -> FacingReadings | None:
    """Give where the shop's blades should stop, as if they had been read there."""
    if target is None:
        return None
    placed = place_blades(target, [blade.gap_mm for blade in gauges.blades])
    left = tuple(BladeStop(one.gap_mm, one.left_mm) for one in placed if one.left_mm is not None)
    right = tuple(BladeStop(one.gap_mm, one.right_mm) for one in placed if one.right_mm is not None)
    return FacingReadings(left, right, target.tip_opening_mm)


def _write_blade(facing: FacingReadings | None, blade: Blade, glass: Scale) -> str:
    if facing is None:
        return ""
    key = blade_key(blade.gap_mm)
    told = [
        next(
            (
                format_stop(stop.position_mm, glass)
                for stop in getattr(facing, rail)
                if blade_key(stop.gap_mm) == key
            ),
            UNREAD,
        )
        for rail in RAILS
    ]
    return told[0] if told[0] == told[1] else "/".join(told)


def _write_tip(facing: FacingReadings | None, tip: Scale) -> str:
    if facing is None:
        return ""
    return UNREAD if facing.tip_opening_mm is None else format_on_scale(facing.tip_opening_mm, tip)


def list_togo(state: BenchState, gauges: GaugesInUse) -> Mapping[str, ToGo]:
    """Say what is still to go at each place that was read, by the name of its cell."""
    cells = {
        (rail, blade_key(blade.gap_mm)): cell_name(blade, rail)
        for blade in gauges.blades
        for rail in RAILS
    }
    said = {}
    for one in state.blades:
        if one.gap_mm is None:
            said["tip"] = _say_togo(one, gauges.tip, "too open by")
        elif name := cells.get((one.rail, blade_key(one.gap_mm))):
            said[name] = _say_togo(one, gauges.glass, "too far by")
    return said


def _say_togo(one: BladeLeft, scale: Scale, past: str) -> ToGo:
    if one.away_mm is None:
        return ToGo(UNREAD, one.state)
    if one.state == "within":
        return ToGo("within", one.state)
    places = 1 if scale.measures == "glass" else scale.decimals
    number = format_number(abs(to_scale(one.away_mm, scale)), places)
    doubt = format_number(to_scale(expanded(one.away_u_mm), scale), places)
    lead = f"{past} " if one.state == "open" else ""
    return ToGo(f"{lead}{number} ± {doubt}", one.state)
