"""What if: the last readings opened, made longer or evened, as a target that can be aimed at.

Opening adds a wedge, most at the tip and nothing at the facing length; a longer facing is the
same curve drawn out from the tip. Both keep what is particular to each rail.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.core.facing.measurements import RAILS
from app.core.facing.stations import make_stations, stop_blade
from app.core.plan.facings import draw_target, even_up
from app.core.plan.plan_values import DONE, UNTOLD, RemovalPlan
from app.core.plan.plan_values import RAILS as RAILS_ONLY
from app.core.plan.plan_words import tell_length
from app.core.values.forms import Fields, Refused
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.core.values.units import SCALES, format_mm

FURTHEST_MM = 60.0
MOST_OPENED_MM, MOST_LONGER_MM = 1.0, 10.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for: mm more at the tip, mm longer, and whether the rails are evened first."""

    opened_mm: float = 0.0
    longer_mm: float = 0.0
    evened: bool = False

    @property
    def words(self) -> str:
        """The wish in words."""
        parts = [
            f"opened by {format_mm(self.opened_mm)} mm" if self.opened_mm else "",
            f"longer by {format_mm(self.longer_mm, 1)} mm" if self.longer_mm else "",
            "rails evened" if self.evened else "",
        ]
        return ", ".join(part for part in parts if part)


def parse_wish(raw: Mapping[str, str]) -> Wish | Refused:
    """Read what is asked for; empty fields are nothing."""
    fields, lengths = Fields(raw), {}
    for name, what, most in (
        ("opened", "The tip is opened", MOST_OPENED_MM),
        ("longer", "A facing is made longer", MOST_LONGER_MM),
    ):
        value = fields.length_mm(name, SCALES["length_mm"]) or 0.0
        if value > most:
            fields.refuse(name, f"{what} by {most:g} mm at most.")
        lengths[name] = value
    return fields.refused() or Wish(lengths["opened"], lengths["longer"], bool(raw.get("evened")))


def alter(
    now: FacingReadings, wish: Wish, gaps_mm: Sequence[float], uncertainties: Uncertainties
) -> FacingReadings:
    """Return where blades of these thicknesses would stop if the wish were done.

    Raises MalformedReading or ValueError where the readings do not tell.
    """
    start = even_up(now) if wish.evened else now
    stations = make_stations(FURTHEST_MM, ())
    rails: list[tuple[BladeStop, ...]] = []
    for rail in RAILS:
        stops = getattr(start, rail)
        if not stops:
            rails.append(())
            continue
        line = draw_target(start, rail, stations, uncertainties)
        length = max(stop.position_mm for stop in stops)
        stretched = length + wish.longer_mm
        gap = np.interp(stations * length / stretched, stations, line.gap_mm)
        gap = gap + wish.opened_mm * np.maximum(0.0, 1.0 - stations / stretched)
        typed = {stop.gap_mm: stop.position_mm for stop in stops}
        placed = []
        for blade in sorted(gaps_mm):
            at, drawn = stop_blade(stations, gap, blade), line.stop(blade)
            if at is not None and at < FURTHEST_MM:
                # what was read and the line drawn for it differ a little: that stays
                off = typed[blade] - drawn if blade in typed and drawn is not None else 0.0
                placed.append(BladeStop(blade, max(0.0, at + off)))
        rails.append(tuple(placed))
    tip = None if now.tip_opening_mm is None else now.tip_opening_mm + wish.opened_mm
    return FacingReadings(rails[0], rails[1], tip)


def say_reach(plan: RemovalPlan) -> str:
    """Say what a wish takes: the rails alone, or what the table must lose, and what is nearest."""
    table, come_to = plan.table, plan.comes_to
    if come_to == DONE:
        return "Nothing to cut."
    if come_to == RAILS_ONLY:
        return f"The rails alone; {tell_length(plan.deepest_mm)} where most comes off."
    if come_to == UNTOLD:
        most = tell_length(table.most.at(table.break_mm))
        return f"The rails first; the table loses nothing that can be told yet, at most {most}."
    loses, most = tell_length(table.at_break_mm), tell_length(table.most.at(table.break_mm))
    return f"The table must lose {loses} first, at most {most}."
