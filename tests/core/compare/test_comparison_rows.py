"""The comparison's rows: every figure of either set, in words, for one piece or two."""

from datetime import date
from math import ceil, floor

import pytest

from app.core.compare.comparison import compare, gap_uncertainties
from app.core.compare.comparison_rows import (
    ONE_PIECE,
    TWO_PIECES,
    ComparisonRow,
    RowVerdict,
    list_evenness,
    list_rows,
)
from app.core.compare.differences import ReadSet
from app.core.facing.corrections import correct_readings
from app.core.facing.measurements import Blade, GaugesInUse, parse_set
from app.core.gauges.sizes import GaugeFacts, SetSizes
from app.core.values.units import SCALES

DAY = date(2026, 11, 25)
BLADES = {1: 0.8636, 2: 0.6096, 3: 0.254, 4: 0.0381}
GAUGES = GaugesInUse(
    blades=tuple(Blade(n, gap) for n, gap in BLADES.items()),
    glass=SCALES["glass_half_mm"],
    tip=SCALES["tip_mm"],
    bore=SCALES["bore_in"],
)
OTHERS = {10 * n: gap for n, gap in BLADES.items()}


def read(line: str = "", blades=None, **typed: str) -> ReadSet:
    """Type a set and let its gauges tell it."""
    gauges = GaugesInUse(
        tuple(Blade(n, gap) for n, gap in (blades or BLADES).items()),
        GAUGES.glass, GAUGES.tip, GAUGES.bore,
    )  # fmt: skip
    raw = {"role": "reference", "line": line, **typed}
    parsed = parse_set(raw, gauges, "clarinet_bb", DAY)
    assert not parsed.problems
    entry = parsed.entry
    register = {
        n: GaugeFacts(n, "blade", "", nominal_mm=gap) for n, gap in (blades or BLADES).items()
    }
    corrected = correct_readings(entry.readings, SetSizes(DAY, register))
    return ReadSet(corrected.facing, entry.readings, corrected.in_force)


def rows_of(before: ReadSet, after: ReadSet) -> dict[str, ComparisonRow]:
    groups = list_rows(compare(before, after), (before, after), GAUGES)
    return {row.label: row for rows in groups.values() for row in rows}


# an invented case, as received and as returned
BEFORE = read("33.5 21.5/22 11.5 5.5 / 1.05 / 0.591")
AFTER = read("35.5 23.5 13.5 6.5 / 1.13 / 0.591")


def test_each_figure_has_before_after_difference_uncertainty_en_and_verdict():
    rows = rows_of(BEFORE, AFTER)
    tip = rows["Tip opening"]
    assert (tip.before, tip.after, tip.difference) == ("1.05 mm", "1.13 mm", "+0.08 mm")
    # by hand: 2·√2·√(0.01² + 0.01²/12) = 0.0294 mm
    assert (tip.uncertainty, tip.en, tip.verdict) == ("± 0.03 mm", "2.72", RowVerdict.CHANGED)
    thin = rows["0.0015 in, left"]
    assert (thin.before, thin.before_note, thin.difference_note) == ("33.5", "16.75 mm", "+2")
    assert rows["0.010 in, right"].difference_note == "+1.5"
    bore = rows["Exit bore"]
    assert (bore.verdict, bore.changed) == (RowVerdict.SAME, False)
    assert ONE_PIECE.words[bore.verdict] == "no change the gauges can tell"


def test_page_and_service_rest_on_the_same_comparison():
    compared = compare(BEFORE, AFTER)
    rows = rows_of(BEFORE, AFTER)
    for one in compared.changes:
        row = next(row for row in rows.values() if row.key == one.key)
        assert row.changed == one.told_changed
        assert row.en == f"{one.en:.2f}"


def test_every_verdict_has_its_words_for_one_piece_and_for_two():
    for side in (ONE_PIECE, TWO_PIECES):
        assert set(side.words) == set(RowVerdict)
    assert TWO_PIECES.words[RowVerdict.CHANGED] == "differs"
    assert not any("before" in words or "change" in words for words in TWO_PIECES.words.values())


def test_other_blades_count_their_own_error_twice_and_one_blade_prints_once():
    same = rows_of(BEFORE, AFTER)
    other = rows_of(BEFORE, read("35.5 23.5 13.5 6.5 / 1.10", OTHERS))
    assert sum("0.034 in" in label for label in other) == 2, "left and right"
    for label in ("0.0015 in, left", "0.010 in, right"):
        assert float(other[label].uncertainty.split()[1]) > float(
            same[label].uncertainty.split()[1]
        )


def test_a_size_that_was_worked_out_is_the_same_blade():
    worked_out = {1: 34 * 0.0254, 2: 24 * 0.0254, 3: 10 * 0.0254, 4: 1.5 * 0.0254}
    assert worked_out[1] != BLADES[1]
    labels = [
        label
        for label in rows_of(BEFORE, read("35.5 23.5 13.5 6.5", worked_out))
        if " in, " in label
    ]
    assert len(labels) == 8


def test_what_only_one_set_has_is_shown_and_said_to_be_missing():
    rows = rows_of(BEFORE, read("35.5 23.5 13.5 6.5", tip_rail_width="1.1"))
    assert (rows["Tip opening"].after, rows["Tip opening"].verdict) == ("–", RowVerdict.NOT_AFTER)
    assert rows["Tip rail width"].verdict == RowVerdict.NOT_BEFORE
    assert not rows["Exit bore"].changed


def test_the_same_readings_twice_have_not_changed():
    rows = rows_of(BEFORE, BEFORE)
    assert {row.verdict for row in rows.values() if row.difference} == {RowVerdict.SAME}


def test_stops_that_moved_together_are_said_to_be_too_little_alone():
    rows = rows_of(read("35.5 23.5 12 5.5 / 1.07"), read("36 24.5 12.5 6 / 1.07"))
    stops = {row.verdict for label, row in rows.items() if " in, " in label}
    assert stops == {RowVerdict.TOGETHER}
    assert rows["Tip opening"].verdict == RowVerdict.SAME


def test_stops_whose_mean_has_changed_are_not_called_unchanged():
    """One number more on both rails: neither shows it alone, the facing length does."""
    rows = rows_of(read("35.5 23.5 12 5.5 / 1.07"), read("36.5 24.5 13 6.5 / 1.15"))
    assert rows["Facing length (at 0.0015 in)"].changed
    assert rows["0.0015 in, left"].verdict in {RowVerdict.TOGETHER, RowVerdict.CHANGED}


def test_the_taper_is_compared_without_what_the_plug_gets_wrong_both_times():
    narrow = read(bore_at_1="5", bore_1="0.584", bore_at_2="25", bore_2="0.575")
    wide = read(bore_at_1="5", bore_1="0.584", bore_at_2="25", bore_2="0.582")
    taper = rows_of(narrow, wide)["Taper (+ widens inwards)"]
    assert taper.before == "−11.4 µm/mm"
    # by hand: u = √(0.0254²/12 + 0.01²) mm at both ends of 20 mm, in both sets, k = 2:
    # 2 · 0.012397 · √2 · √2 / 20 mm
    assert taper.uncertainty == "± 2.5 µm/mm"
    assert taper.changed


def test_dial_places_are_compared_where_both_have_them_and_else_counted():
    before = read(dial_left="2 0.90\n4 0.70\n6 0.55")
    after = read(dial_left="2 0.95\n4 0.701\n7 0.40")
    rows = rows_of(before, after)
    assert rows["Gap by dial at 2 mm, left"].changed
    assert not rows["Gap by dial at 4 mm, left"].changed
    left_over = rows["Places read in one only"]
    assert (left_over.before, left_over.after) == ("1", "1")
    alone = rows_of(before, read("35.5 23.5 13.5 6.5"))
    assert alone["Places read by dial"].verdict == RowVerdict.NOT_COMPARED


def test_the_evenness_of_both_stands_side_by_side():
    compared = compare(read("33.5/29.5 21.5 11.5 5.5 / 1.05"), AFTER)
    thin = next(row for row in list_evenness(compared) if row.blade == "0.0015 in")
    assert (thin.before, thin.after) == ("uneven", "even")
    assert thin.before_height.startswith("−")


def test_curves_that_were_not_chosen_are_not_called_unread():
    row = rows_of(read("33.5 32.5 11.5 10.5 / 1.05"), AFTER)["Break point (curve meets table)"]
    assert (row.before, row.verdict) == ("–", RowVerdict.NOT_COMPARED)


def test_the_break_is_printed_as_the_span_over_all_curves_that_fit():
    row = rows_of(BEFORE, AFTER)["Break point (curve meets table)"]
    compared = compare(BEFORE, AFTER)
    for shown, analysis in ((row.before, compared.before), (row.after, compared.after)):
        low, high = analysis.mean.break_span_mm
        assert shown == f"{floor(10 * low) / 10:.1f} to {ceil(10 * high) / 10:.1f} mm"


def test_what_rests_on_a_reading_to_take_again_is_said_to():
    rows = rows_of(read("35.5 23.5 12 5.5 / 1.07"), read("35.5 23.5/27 12 5.5 / 1.07"))
    assert rows["0.010 in, right"].verdict == RowVerdict.SUSPECT
    assert rows["0.010 in, left"].verdict == RowVerdict.SAME


def test_a_gap_is_told_as_well_as_its_position_times_the_slope_there():
    expanded = gap_uncertainties(BEFORE, AFTER)
    change = next(
        one
        for one in compare(BEFORE, AFTER).changes
        if one.quantity == "position" and one.rail == "left" and one.gap_mm == pytest.approx(0.254)
    )
    # the slope there by hand, from the neighbours on a root scale: a stop lies at a + b·√h
    b = (17.75 - 6.75) / (0.0381**0.5 - 0.6096**0.5)
    slope = 1.0 / abs(b / (2 * 0.254**0.5))
    assert expanded["left", 11.75] == pytest.approx(change.expanded_uncertainty * slope, rel=0.05)
