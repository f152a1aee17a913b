"""The bench's table: what was read, what is wanted, and what is still to go, in glass numbers."""

from dataclasses import replace

from app.core.plan.bench import judge_bench
from app.core.plan.bench_table import list_rows, list_togo
from app.core.plan.facings import FacingTolerance, PlainFacing
from app.core.plan.shown import Showing
from app.core.values.readings import FacingReadings
from tests.core.plan.test_shown import TARGET, WORN, make_showing
from tests.core.plan.test_targets import GAUGES as THIN_FIRST
from tests.core.planning import CLOSE, OPEN

# as read at the bench
GAUGES = replace(THIN_FIRST, thin_first=False)
TOLERANCE = FacingTolerance(0.5, 0.02, 0.02)


def togo(target=OPEN, now=CLOSE, tolerance=TOLERANCE):
    return list_togo(judge_bench(target, now, tolerance), GAUGES)


def test_each_blade_has_a_cell_for_each_rail_and_the_tip_one():
    rows = list_rows(Showing(GAUGES), CLOSE, None, OPEN)
    assert [len(row.fields) for row in rows] == [2, 2, 2, 2, 1]
    assert [row.received for row in rows] == ["5.5", "11.5", "21.5", "33.5", "1.05"]
    assert [row.target for row in rows] == ["6.5", "13.5", "23.5", "35.5", "1.13"]
    assert {row.last for row in rows} == {""}


def test_the_rows_stand_in_the_shop_s_order():
    rows = list_rows(Showing(THIN_FIRST), CLOSE, None, None)
    assert [row.received for row in rows] == ["33.5", "21.5", "11.5", "5.5", "1.05"]


def test_rails_that_differ_stand_side_by_side_and_an_unread_blade_is_a_dash():
    *rest, thick = CLOSE.left
    uneven = replace(CLOSE, left=(*rest, replace(thick, position_mm=3.0)), right=CLOSE.right[1:])
    rows = list_rows(Showing(GAUGES), None, uneven, None)
    assert [row.last for row in rows] == ["6/5.5", "11.5", "21.5", "33.5/–", "1.05"]
    none = list_rows(Showing(GAUGES), FacingReadings((), (), None), None, None)
    assert {row.received for row in none} == {"–"}


def test_a_plain_target_is_told_by_where_the_shop_s_blades_should_stop():
    rows = list_rows(Showing(GAUGES), None, None, PlainFacing(17.75, 1.13))
    assert rows[3].target == "35.5"
    numbers = [float(row.target) for row in rows[:4]]
    assert numbers == sorted(numbers)


def test_the_target_stands_in_the_numbers_of_the_shop_s_own_gauges():
    """A worn thin blade stops further out: beside what it read, its target does too."""
    marked = list_rows(Showing(GAUGES), None, None, TARGET)
    worn = list_rows(make_showing(WORN), None, None, TARGET)
    by_marked, by_worn = ({row.label: row.target for row in rows} for rows in (marked, worn))
    thin = next(iter(label for label in by_marked if by_marked[label] != by_worn[label]))
    assert float(by_worn[thin]) >= float(by_marked[thin]) + 0.5
    by_worn[thin] = by_marked[thin]
    assert by_worn == by_marked


def test_what_is_left_is_how_much_further_a_blade_must_come():
    left = togo()
    cells = [row.fields[0] for row in list_rows(Showing(GAUGES), None, None, None)]
    # the two notebook lines differ by 1, 2, 2 and 2 numbers and by 0.08 mm
    assert [left[cell].words.split(" ± ")[0] for cell in cells] == ["1", "2", "2", "2", "0.08"]
    assert {one.state for one in left.values()} == {"cut"}
    back = togo(CLOSE, OPEN)
    assert back[cells[1]].words.startswith("too far by 2 ± ")
    assert back["tip"].words.startswith("too open by 0.08 ± ")
    assert {one.words for one in togo(OPEN, OPEN).values()} == {"within"}


def test_a_rail_not_read_has_nothing_said_of_it():
    assert list(togo(now=FacingReadings(CLOSE.left[-1:], (), None))) == [
        list_rows(Showing(GAUGES), None, None, None)[0].fields[0]
    ]
