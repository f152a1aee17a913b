"""The comparison page's rows: every quantity of either set, in words, for one piece or two."""

from datetime import date

import pytest

from app.core.compare.comparison import compare_facings, gap_uncertainties
from app.core.compare.comparison_rows import (
    ONE_PIECE,
    TWO_PIECES,
    ComparedSet,
    ComparisonRow,
    ComparisonTable,
    Side,
    compare_sets,
)
from app.core.compare.length_changes import take_as_typed
from app.core.facing.analysis import analyse_facing
from app.core.facing.curves import CURVES
from app.core.facing.measurements import Blade, GaugesInUse, SetEntry, facing_of, parse_set
from app.core.values.readings import Uncertainties
from app.core.values.units import SCALES
from tests.lines import RECEIVED_LINE, RETURNED_LINE

GAUGES = GaugesInUse(
    blades=(Blade(1, 0.8636), Blade(2, 0.6096), Blade(3, 0.254), Blade(4, 0.0381)),
    glass=SCALES["glass_half_mm"],
    tip=SCALES["tip_mm"],
    bore=SCALES["bore_in"],
)


def compared(line: str = "", **typed: str) -> ComparedSet:
    entry = parse_set(
        {"role": "reference", "line": line, **typed}, GAUGES, "clarinet_bb", date(2026, 11, 25)
    )
    assert isinstance(entry, SetEntry), entry
    return ComparedSet(facing_of(entry.readings), take_as_typed(entry.readings))


def compare(
    before: ComparedSet, after: ComparedSet, side: Side = ONE_PIECE, **more
) -> ComparisonTable:
    return compare_sets(before, after, GAUGES, side, **more)


def rows_of(table: ComparisonTable) -> dict[str, ComparisonRow]:
    return {row.label: row for _, rows in table.groups for row in rows}


# an invented case, as received and as returned
BEFORE = compared(RECEIVED_LINE)
AFTER = compared(RETURNED_LINE)


def test_each_quantity_has_before_after_difference_uncertainty_en_and_verdict():
    rows = rows_of(compare(BEFORE, AFTER))
    tip = rows["Tip opening"]
    assert (tip.before, tip.after, tip.difference) == ("1.05 mm", "1.13 mm", "+0.08 mm")
    assert (tip.uncertainty, tip.en, tip.verdict) == ("± 0.03 mm", "2.83", "changed")
    thin = rows["0.0015 in, left"]
    assert (thin.before, thin.before_note, thin.difference_note) == ("33.5", "16.75 mm", "+2")
    assert rows["0.010 in, right"].difference_note == "+1.5"
    bore = rows["Exit bore"]
    assert (bore.verdict, bore.changed) == ("no change the gauges can tell", False)


def test_the_page_and_the_service_say_the_same():
    changes = compare_facings(BEFORE.facing, AFTER.facing)
    rows = rows_of(compare(BEFORE, AFTER))
    tip = next(one for one in changes if one.quantity == "tip_opening")
    assert rows["Tip opening"].en == f"{tip.en:.2f}"
    assert sum(row.changed is not None for row in rows.values()) == len(changes) + 1  # exit bore


def test_the_uncertainties_are_a_parameter():
    wide = Uncertainties(position_mm=2.0, gap_mm=0.05, tip_mm=0.5)
    table = compare(BEFORE, AFTER, uncertainties=wide)
    rows = rows_of(table)
    assert rows["Tip opening"].changed is False
    assert rows["0.0015 in, left"].changed is False


def test_other_blades_count_their_own_error_twice():
    same = rows_of(compare(BEFORE, AFTER))["0.0015 in, left"]
    other = rows_of(compare(BEFORE, AFTER, same_blades=False))["0.0015 in, left"]
    assert float(other.uncertainty.split()[1]) > float(same.uncertainty.split()[1])


def test_what_only_one_set_has_is_shown_and_said_to_be_missing():
    rows = rows_of(compare(BEFORE, compared("35.5 23.5 13.5 6.5", tip_rail_width="1.1")))
    assert (rows["Tip opening"].after, rows["Tip opening"].verdict) == ("–", "not read after")
    assert rows["Tip rail width"].verdict == "not read before"
    assert rows["Exit bore"].changed is None


def test_two_pieces_are_not_spoken_of_as_before_and_after():
    table = compare(BEFORE, AFTER, TWO_PIECES)
    words = " ".join(table.sentences)
    assert "before" not in words
    assert "differ" in words
    assert rows_of(table)["Tip opening"].verdict == "differs"
    alone = rows_of(compare(BEFORE, compared("35.5 23.5 13.5 6.5"), TWO_PIECES))
    assert alone["Tip opening"].verdict == "not read in the second"


def test_the_same_readings_twice_have_not_changed():
    table = compare(BEFORE, BEFORE)
    assert all(not row.changed for row in rows_of(table).values())
    assert "none changed: no change the gauges can tell" in table.sentences[0]


def test_sets_without_a_common_quantity_say_so():
    table = compare(compared("35.5 23.5 13.5 6.5"), compared(tip_rail_width="1.1"))
    assert table.sentences == ("Nothing was read in both, so there is nothing to compare.",)


def test_the_taper_is_compared_with_its_own_uncertainty():
    narrow = compared(bore_at_1="5", bore_1="0.584", bore_at_2="25", bore_2="0.575")
    wide = compared(bore_at_1="5", bore_1="0.584", bore_at_2="25", bore_2="0.582")
    rows = rows_of(compare(narrow, wide))
    taper = rows["Taper (+ widens inwards)"]
    assert taper.before == "−11.4 µm/mm"
    # by hand: u = 0.0254 · root(1/12 + 1/4) mm at both ends of 20 mm, in both sets, k = 2:
    # 2 · 0.014664 · root 2 · root 2 / 20 mm
    assert taper.uncertainty == "± 2.9 µm/mm"
    assert taper.changed
    assert rows["Included angle"].changed


def test_dial_places_are_compared_where_both_have_them_and_else_counted():
    before = compared(dial_left="2 0.90\n4 0.70\n6 0.55")
    after = compared(dial_left="2 0.95\n4 0.701\n7 0.40")
    rows = rows_of(compare(before, after))
    assert rows["Gap by dial at 2 mm, left"].changed
    assert not rows["Gap by dial at 4 mm, left"].changed
    left_over = rows["Places read in one only"]
    assert (left_over.before, left_over.after) == ("1", "1")
    alone = rows_of(compare(before, compared("35.5 23.5 13.5 6.5")))
    assert alone["Places read by dial"].verdict == "read once only"


def test_the_evenness_of_both_stands_side_by_side():
    table = compare(compared("33.5/29.5 21.5 11.5 5.5 / 1.05"), AFTER)
    thin = next(row for row in table.evenness if row.blade == "0.0015 in")
    assert (thin.before, thin.after) == ("uneven", "even")
    assert table.evenness_words == ("uneven at 0.0015 in", "even")


def test_curves_that_were_not_chosen_are_not_called_unread():
    crooked = compared("33.5 32.5 11.5 10.5 / 1.05")
    row = rows_of(compare(crooked, AFTER))["Break point (curve meets table)"]
    assert (row.before, row.verdict) == ("–", "can’t be compared")


def test_a_gap_is_told_as_well_as_its_position_times_the_slope_there():
    spreads = gap_uncertainties(BEFORE.facing, AFTER.facing)
    change = next(
        one
        for one in compare_facings(BEFORE.facing, AFTER.facing)
        if one.quantity == "position" and one.rail == "left" and one.gap_mm == pytest.approx(0.254)
    )
    left = analyse_facing(AFTER.facing).left
    assert left is not None
    fit = left.fit(left.chosen)
    assert fit is not None
    # the slope by differences, on the curve drawn
    curve, near = CURVES[fit.curve], 1e-4
    place = float(curve.position_of(fit.parameters, 0.254))
    ends = [float(curve.gap_at(fit.parameters, place + step)) for step in (-near, near)]
    slope = (ends[0] - ends[1]) / (2 * near)
    assert spreads["left", 11.75] == pytest.approx(change.expanded_uncertainty * slope, rel=1e-4)
