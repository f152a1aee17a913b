"""What a removal plan is asked and what it answers, as plain values in mm."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.core.plan.cuts import NO_CUT, TableCut
from app.core.plan.facings import THINNEST_MM, Target
from app.core.values.readings import FacingReadings, Uncertainties

# less than this is not worth a step of its own
WORTH_CUTTING_MM = 0.002
# what a plan comes to: nothing; the rails; the table and then the rails; or the rails, and a
# table cut that the gauges can't tell from nothing
DONE, RAILS, TABLE, UNTOLD = "done", "rails", "table", "untold"


@dataclass(frozen=True, slots=True)
class PlanLimits:
    """The most the shop takes off, and where the piece itself ends; None where there is none.

    `window_end_mm` is the window's lower edge from the tip: beyond it a facing would leak.
    `table_allowance_mm` is what table and shank can lose and still stand the ligature.
    """

    most_table_mm: float | None = None
    most_rail_mm: float | None = None
    window_end_mm: float | None = None
    table_allowance_mm: float | None = None


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What is asked of a plan. Lengths in mm, uncertainties standard (k = 1).

    `tolerance_mm` is how far the gap may miss the target, to spare the table and for a cut with
    fewer bends; the other two narrow that along the glass and at the tip. The slopes are those
    behind the tip rail and of the beak, against the table. With `spare_untold` a table cut that
    the gauges can't tell from nothing is left; `settled` says that nothing is to be cut at all.
    """

    now: FacingReadings
    target: Target
    length_gap_mm: float = THINNEST_MM
    table_end_mm: float = 40.0
    tilt_limit_mm_per_mm: float = 0.0
    tolerance_mm: float = 0.0
    position_tolerance_mm: float | None = None
    tip_tolerance_mm: float | None = None
    tip_slope_deg: float | None = None
    beak_slope_deg: float | None = None
    uncertainties: Uncertainties = field(default_factory=Uncertainties)
    limits: PlanLimits = field(default_factory=PlanLimits)
    spare_untold: bool = False
    settled: bool = False

    @property
    def has_room(self) -> bool:
        """Whether the rails may miss the target, so that bends can be spared."""
        return self.tolerance_mm > 0 or bool(self.position_tolerance_mm)


@dataclass(frozen=True, slots=True)
class StationCut:
    """One place on one rail, all in mm: gaps now, after the table step and in the end.

    now − what the table takes (never below zero) + `cut_mm` = `final_mm`. `final_mm` is the
    target, or within the tolerance of it. `u_mm` is the standard uncertainty of the gap now, and
    so of the cut.
    """

    position_mm: float
    now_mm: float
    after_table_mm: float
    target_mm: float
    final_mm: float
    cut_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class ExpectedStop:
    """Where a blade should stop; None if it should not go in."""

    gap_mm: float
    position_mm: float | None


@dataclass(frozen=True, slots=True)
class ExpectedReadings:
    """The readings to expect after a step."""

    left: tuple[ExpectedStop, ...]
    right: tuple[ExpectedStop, ...]
    tip_opening_mm: float


@dataclass(frozen=True, slots=True)
class NearestFacing:
    """The facing nearest the target that the rails alone can reach, as the trade tells it.

    `facing_length_mm` is None if the blade that reads it would not go in.
    """

    tip_opening_mm: float
    facing_length_mm: float | None
    readings: ExpectedReadings


@dataclass(frozen=True, slots=True)
class TableStep:
    """The table cut: as planned, without the tolerance, and its ends (two deviations each way).

    `saved_mm` is what the tolerance spares at the break. `untold` is a cut that the gauges can't
    tell from nothing and that was therefore not planned. `uneven_tip` says that the rails differ
    as far as they were read toward the tip: `most` then reckons with the higher of them there.
    """

    planned: TableCut
    exact: TableCut
    least: TableCut
    most: TableCut
    break_mm: float
    end_mm: float
    untold: TableCut = NO_CUT
    uneven_tip: bool = False

    @property
    def at_break_mm(self) -> float:
        """The planned cut where the facing starts."""
        return self.planned.at(self.break_mm)

    @property
    def at_end_mm(self) -> float:
        """The planned cut at the end of the table."""
        return self.planned.at(self.end_mm)

    @property
    def saved_mm(self) -> float:
        """What the tolerance spares at the break."""
        return self.exact.at(self.break_mm) - self.at_break_mm


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One step at the bench in plain words, with the readings to check it by.

    `key` is "table", "rails" or "check".
    """

    key: str
    words: str
    expect: ExpectedReadings | None


@dataclass(frozen=True, slots=True)
class RemovalPlan:
    """A plan: table first if need be, then each rail; with numbers to check after each step.

    A rail without readings has no stations. `now_curve` names the plain curve each rail follows
    as it is now, None where it could only be planned from reading to reading. `target` holds
    each rail's target positions, `target_positions` their mean.
    """

    rails_only: bool
    table: TableStep
    left: tuple[StationCut, ...]
    right: tuple[StationCut, ...]
    now_curve: Mapping[str, str | None]
    after_table: ExpectedReadings
    after_rails: ExpectedReadings
    target: ExpectedReadings
    target_positions: tuple[ExpectedStop, ...]
    nearest_without_table: NearestFacing
    tip_rail_wider_mm: float | None
    shorter_mm: float | None
    summary: str
    cautions: tuple[str, ...]
    steps: tuple[PlanStep, ...]

    @property
    def deepest_mm(self) -> float:
        """The most that comes off a rail."""
        return max(station.cut_mm for station in (*self.left, *self.right))

    @property
    def comes_to(self) -> str:
        """What the plan comes to: DONE, RAILS, TABLE or UNTOLD."""
        if not self.rails_only:
            return TABLE
        if not self.table.untold.none:
            return UNTOLD
        return RAILS if self.deepest_mm >= WORTH_CUTTING_MM else DONE
