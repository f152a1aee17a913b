"""Reading sets as pages list them: a line as notebooks write it, and the figures it comes to."""

from dataclasses import dataclass

from app.core.facing.analysis import FacingAnalysis, analyse_facing
from app.core.facing.evenness import (
    CANNOT_TELL,
    RailsVerdict,
    judge_evenness,
    judge_rails,
    pair_blades,
)
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.facing.rail_words import say_break
from app.core.facing.wording import main_rail, rails_of, read_facing_length, say_evenness
from app.core.values.units import format_mm, format_on_scale
from app.store.records.measurements import Measurement
from app.store.tables import Shop


@dataclass(frozen=True, slots=True)
class Summary:
    """A reading set as a line in a list: as notebooks write it, and what it comes to.

    `line` is as typed. `corrected_line` is by the sizes the gauges had that day and `later_line`
    as if later checks had held already; both are empty where they would say the same.
    """

    measurement: Measurement
    line: str
    corrected_line: str
    later_line: str
    facing_length_mm: float | None
    rails: RailsVerdict
    evenness_tolerance_mm: float

    @property
    def evenness(self) -> str:
        """How even the rails are, in a few words."""
        return say_evenness(self.rails)

    @property
    def rails_told(self) -> bool:
        """Whether the gauges settle how even they are."""
        return self.rails.verdict != CANNOT_TELL

    @property
    def analysis(self) -> FacingAnalysis:
        """All that the readings allow; a list needs none of it, so it is asked for by itself."""
        return analyse_facing(
            self.measurement.facing,
            self.measurement.uncertainties,
            evenness_tolerance_mm=self.evenness_tolerance_mm,
        )


def summarise(measurement: Measurement, gauges: GaugesInUse, shop: Shop) -> Summary:
    """Work out what a reading set comes to; nothing is fitted for it."""
    facing, corrected = measurement.facing, measurement.corrected
    line = write_line(measurement.recorded, gauges)
    used = write_line(facing, gauges) if corrected.differs else line
    worn = corrected.later_facing
    later = write_line(worn, gauges) if worn else used
    usual, tolerance = measurement.uncertainties, shop.evenness_tolerance_mm
    pairs = pair_blades(facing.left, facing.right, usual.position_mm, usual.gap_mm)
    return Summary(
        measurement,
        line or "other lengths",
        # a dial or a calliper that was off changes what the line does not hold
        used if used != line else "",
        later if later != used else "",
        read_facing_length(facing),
        judge_rails(
            judge_evenness(pairs, tolerance),
            one_rail=facing.has_rails,
            read_once=facing.read_once,
        ),
        tolerance,
    )


def list_figures(summary: Summary, gauges: GaugesInUse) -> list[dict[str, str]]:
    """List a set's main figures: label, value, and a note beside it."""
    facing, figures = summary.measurement.facing, []
    if summary.facing_length_mm is not None:
        figures.append(
            {
                "label": "Facing length",
                "value": f"{format_mm(summary.facing_length_mm)} mm",
                "note": _as_recorded(
                    "where the thinnest blade stops",
                    read_facing_length(summary.measurement.recorded),
                    summary.facing_length_mm,
                ),
            }
        )
    if facing.tip_opening_mm is not None:
        inches = facing.tip_opening_mm / 25.4
        figures.append(
            {
                "label": "Tip opening",
                "value": f"{format_mm(facing.tip_opening_mm)} mm",
                "note": _as_recorded(
                    f"{format_mm(inches, 3)} in",
                    summary.measurement.recorded.tip_opening_mm,
                    facing.tip_opening_mm,
                ),
            }
        )
    spoken = main_rail(summary.analysis)
    if spoken and (limits := say_break(spoken[1])):
        figures.append(
            {
                "label": "Break point",
                "value": limits,
                "note": "where the curve meets the table, by every curve that fits",
            }
        )
    if (bore := summary.measurement.bore_mm) is not None:
        figures.append(
            {
                "label": "Exit bore",
                "value": f"{format_on_scale(bore, gauges.bore)} {gauges.bore.unit}",
                "note": f"{format_mm(bore)} mm",
            }
        )
    rails = say_evenness(rails_of(summary.analysis))
    return [*figures, {"label": "Rails", "value": rails, "note": ""}]


def _as_recorded(note: str, recorded_mm: float | None, used_mm: float) -> str:
    """Add what was recorded, where the gauges of that day were not what is marked on them."""
    if recorded_mm is None or abs(recorded_mm - used_mm) < 0.005:
        return note
    return f"{note}; {format_mm(recorded_mm)} as recorded"
