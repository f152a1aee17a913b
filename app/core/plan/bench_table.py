"""The bench's table: each blade and the tip as received, last read, wanted, and still to go.

Everything is said in the numbers the gauges show: where the blade stops on the glass, what the
wedge reads. What is still to go is how much further a blade, or the tip, must come.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.facing.evenness import blade_key
from app.core.facing.measurements import RAILS, Blade, GaugesInUse, cell_name
from app.core.plan.bench import BenchState, BladeLeft
from app.core.plan.facings import Target, place_target
from app.core.plan.shown import Showing, write_blade
from app.core.plan.targets import format_stop
from app.core.values.readings import FacingReadings
from app.core.values.uncertainty import expanded
from app.core.values.units import Scale, format_number, format_on_scale, to_scale

UNREAD = "–"


@dataclass(frozen=True, slots=True)
class ToGo:
    """What is still to go at one place, in words, and its state (`BladeLeft.state`)."""

    words: str
    state: str


READ_AGAIN = ToGo("read again", "again")


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
    showing: Showing,
    received: FacingReadings | None,
    last: FacingReadings | None,
    target: Target | None,
) -> tuple[TableRow, ...]:
    """List a row for each blade, in the shop's order, and one for the tip.

    Readings are given as typed. The target is told as these gauges will show it, since it stands
    beside them: a worn blade stops further out than one of its marked size.
    """
    gauges, wanted = showing.gauges, None
    if target is not None:
        wanted = showing.show(place_target(target, [blade.gap_mm for blade in gauges.blades]))
    rows = [
        TableRow(
            blade.label,
            tuple(cell_name(blade, rail) for rail in RAILS),
            tuple(f"{rail} rail, {blade.label}" for rail in RAILS),
            _write_blade(received, blade, gauges.glass),
            _write_blade(last, blade, gauges.glass),
            write_blade(wanted, blade.gap_mm, gauges.glass) if wanted else "",
        )
        for blade in gauges.shown
    ]
    tips = _write_tip(received, gauges.tip), _write_tip(last, gauges.tip)
    tip = format_on_scale(wanted.tip.mm, gauges.tip) if wanted and wanted.tip else ""
    names = (f"tip opening, {gauges.tip.label}",)
    return (*rows, TableRow("Tip opening", ("tip",), names, *tips, tip))


def _write_blade(facing: FacingReadings | None, blade: Blade, glass: Scale) -> str:
    if facing is None:
        return ""
    key = blade_key(blade.gap_mm)
    numbers = [
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
    return numbers[0] if numbers[0] == numbers[1] else "/".join(numbers)


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
    for blade in state.blades:
        if blade.gap_mm is None:
            said["tip"] = _say_togo(blade, gauges.tip, "too open by")
        elif name := cells.get((blade.rail, blade_key(blade.gap_mm))):
            said[name] = _say_togo(blade, gauges.glass, "too far by")
    return said | {cells[stop]: READ_AGAIN for stop in state.again if stop in cells}


def _say_togo(blade: BladeLeft, scale: Scale, past: str) -> ToGo:
    if blade.away_mm is None:
        return ToGo(UNREAD, blade.state)
    if blade.state == "within":
        return ToGo("within", blade.state)
    places = 1 if scale.measures == "glass" else scale.decimals
    number = format_number(abs(to_scale(blade.away_mm, scale)), places)
    doubt = format_number(to_scale(expanded(blade.away_u_mm), scale), places)
    lead = f"{past} " if blade.state == "open" else ""
    return ToGo(f"{lead}{number} ± {doubt}", blade.state)
