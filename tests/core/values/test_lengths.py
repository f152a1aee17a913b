"""Other lengths: from typed text to values, all errors at once, and back to a page to correct."""

from datetime import date

import pytest

from app.core.facing.measurements import (
    Blade,
    GaugesInUse,
    ParsedSet,
    SetEntry,
    facing_of,
    parse_set,
)
from app.core.values.lengths import (
    CELLS,
    LENGTHS,
    MOST_ROWS,
    VOLUME,
    is_length,
    length_cells,
    length_meanings,
    list_rows,
    parse_value,
)
from app.core.values.units import SCALES, NotANumber

GAUGES = GaugesInUse(
    blades=(Blade(1, 0.8636), Blade(2, 0.6096), Blade(3, 0.254), Blade(4, 0.0381)),
    glass=SCALES["glass_half_mm"],
    tip=SCALES["tip_mm"],
    bore=SCALES["bore_in"],
)
TODAY = date(2026, 11, 25)


def parse(**typed: str) -> ParsedSet:
    return parse_set({"role": "reference", **typed}, GAUGES, "clarinet_bb", TODAY)


def kept(**typed: str) -> SetEntry:
    parsed = parse(**typed)
    assert not parsed.problems
    return parsed.entry


@pytest.mark.parametrize(
    ("typed", "quantity", "rail", "depth_mm", "value", "scale"),
    [
        ({"table_flatness": "0,02"}, "table_flatness", "", None, 0.02, "length_mm"),
        ({"table_flatness": "0"}, "table_flatness", "", None, 0.0, "length_mm"),
        ({"tip_rail_width": "0.04 in"}, "tip_rail_width", "", None, 1.016, "length_mm"),
        ({"side_rail_width_right": "1½"}, "side_rail_width", "right", None, 1.5, "length_mm"),
        ({"window_length": '1.4"'}, "window_length", "", None, 35.56, "length_mm"),
        ({"window_width": "11.5"}, "window_width", "", None, 11.5, "length_mm"),
        ({"table_length": "42 mm"}, "table_length", "", None, 42.0, "length_mm"),
        ({"chamber_volume": "6.4"}, "chamber_volume", "", None, 6.4, "volume_ml"),
        ({"chamber_volume": "6,4 cm³"}, "chamber_volume", "", None, 6.4, "volume_ml"),
        ({"bore_at_1": "0.5 in", "bore_1": "0.584"}, "bore", "", 12.7, 14.8336, "bore_in"),
        ({"bore_at_3": "0", "bore_3": "14.9 mm"}, "bore", "", 0.0, 14.9, "bore_in"),
        (
            {"baffle_depth_at_2": "10", "baffle_depth_2": "2.1"},
            "baffle_depth", "", 10.0, 2.1, "length_mm",
        ),
    ],
)  # fmt: skip
def test_a_length_is_kept_as_typed_with_its_scale_and_value(
    typed, quantity, rail, depth_mm, value, scale
):
    (reading,) = kept(**typed).readings
    assert (reading.quantity, reading.rail, reading.scale) == (quantity, rail, scale)
    assert reading.value_mm == pytest.approx(value, abs=1e-9)
    assert reading.depth_mm == (None if depth_mm is None else pytest.approx(depth_mm, abs=1e-9))
    assert {reading.typed, reading.depth_typed} - {""} == set(typed.values())
    assert is_length(reading)


def test_a_named_length_keeps_its_name():
    (reading,) = kept(named_name_1="  shank   length ", named_1="29.2").readings
    assert (reading.quantity, reading.name, reading.value_mm) == ("named", "shank length", 29.2)


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"bore_1": "0.58"}, "bore_at_1", "Write the depth"),
        ({"bore_at_1": "10"}, "bore_1", "write what was read for “10”"),
        ({"bore_at_1": "10", "bore_1": "deep"}, "bore_1", "is not a number"),
        ({"bore_at_1": "900", "bore_1": "0.58"}, "bore_at_1", "beyond any mouthpiece"),
        ({"baffle_depth_1": "2"}, "baffle_depth_at_1", "distance from the tip"),
        ({"named_1": "12"}, "named_name_1", "Write what this length is"),
        ({"named_name_1": "shank"}, "named_1", "write what was read for “shank”"),
        ({"chamber_volume": "6 mm"}, "chamber_volume", "is a length"),
        ({"chamber_volume": "6 in"}, "chamber_volume", "is a length"),
        ({"tip_rail_width": "6 ml"}, "tip_rail_width", "is not a number"),
        ({"tip_rail_width": "0"}, "tip_rail_width", "nothing is no reading"),
        ({"tip_rail_width": "-1"}, "tip_rail_width", "below zero"),
        ({"tip_rail_width": "nan"}, "tip_rail_width", "is not a number"),
        ({"tip_rail_width": "1e3"}, "tip_rail_width", "exponent"),
        ({"window_length": "1,234.5"}, "window_length", "more than one separator"),
        ({"table_length": "999"}, "table_length", "more than any mouthpiece has"),
        ({"table_length": "9" * 17}, "table_length", "more digits than any gauge"),
        ({"named_name_1": "x" * 300, "named_1": "1"}, "named_name_1", "at most 60"),
        (
            {"bore_at_1": "10", "bore_1": "0.58", "bore_at_2": "10.0", "bore_2": "0.57"},
            "bore_at_2", "stands there twice",
        ),
        (
            {"named_name_1": "Shank", "named_1": "1", "named_name_2": "shank", "named_2": "2"},
            "named_name_2", "stands there twice",
        ),
        ({"bore": "0.591", "bore_at_1": "0", "bore_1": "0.591"}, "bore", "exit bore too"),
    ],
)  # fmt: skip
def test_what_can_not_be_a_length_is_refused_beside_its_field(typed, field, words):
    refused = parse(**typed)
    assert words in refused.problems[field]


def test_all_errors_come_back_at_once_with_those_of_the_grid():
    refused = parse(b4_left="soon", bore_1="0.58", tip_rail_width="wide", dial_left="1 2 3")
    assert set(refused.problems) == {"b4_left", "bore_at_1", "tip_rail_width", "dial_left"}


def test_other_lengths_alone_make_a_set_and_nothing_at_all_does_not():
    assert len(kept(tip_rail_width="1.1").readings) == 1
    nothing = parse()
    assert "Nothing is written yet" in nothing.problems["line"]


def test_a_unit_slip_is_asked_about_once():
    asked = parse(tip_rail_width="0.04", bore_at_1="10", bore_1="0.9")
    assert asked.asks
    assert "usual is 0.2 to 3 mm" in asked.questions["tip_rail_width"]
    assert "22.86 mm" in asked.questions["bore_1"]
    again = parse(tip_rail_width="0.04", bore_at_1="10", bore_1="0.9", asked=asked.token)
    assert not again.asks


def test_readings_fill_the_fields_of_a_correction_as_they_were_typed():
    typed = {
        "bore_at_1": "0.5 in",
        "bore_1": "0.584",
        "bore_at_2": "20",
        "bore_2": "14.6 mm",
        "side_rail_width_left": "1,1",
        "side_rail_width_right": "1½",
        "chamber_volume": "6.4 ml",
        "named_name_1": "shank length",
        "named_1": "1.15 in",
    }
    entry = kept(**typed, dial_left="2 0.91\n4 0.74", dial_right="2; 0,92", b4_left="36")
    cells = length_cells(entry.readings, GAUGES.bore)
    assert cells.items() >= typed.items()
    assert cells["dial_left"].split() == ["2", "0.91", "4", "0.74"]
    again = kept(**cells, b4_left="36")
    assert again.readings == entry.readings


def test_a_bore_read_in_inches_keeps_its_unit_when_the_shop_has_gone_over_to_millimetres():
    entry = kept(bore_at_1="10", bore_1="0.584")
    cells = length_cells(entry.readings, SCALES["bore_mm"])
    assert cells["bore_1"] == "0.584 in"


def test_an_empty_row_always_follows_the_last_one_written():
    bore = LENGTHS["bore"]
    assert len(list_rows(bore, {})) == 4
    assert len(list_rows(bore, {"bore_at_4": "12"})) == 5
    assert len(list_rows(bore, {f"bore_{MOST_ROWS}": "12"})) == MOST_ROWS
    assert [cell.field for cell in list_rows(LENGTHS["side_rail_width"], {})] == [
        "side_rail_width_left",
        "side_rail_width_right",
    ]


def test_no_two_cells_share_a_field():
    names = [name for cell in CELLS for name in (cell.field, cell.beside) if name]
    assert len(names) == len(set(names))


def test_a_half_typed_row_is_left_out_of_a_preview_and_the_rest_stays():
    raw = {"role": "reference", "bore_at_1": "5", "bore_1": "0.58", "bore_at_2": "1",
           "tip_rail_width": "1.1", "window_width": "1.", "dial_left": "2 0.9\n4"}  # fmt: skip
    parsed = parse(**raw)
    assert {"bore_2", "window_width", "dial_left"} == set(parsed.problems)
    assert [one.quantity for one in parsed.entry.readings] == ["bore", "tip_rail_width", "dial"]


def test_each_cell_says_what_it_means():
    said = length_meanings(
        {"bore_at_1": "1 in", "bore_1": "0.584", "chamber_volume": "6", "named_1": "abc"},
        GAUGES.bore,
    )
    assert (said["bore_at_1"], said["bore_1"], said["chamber_volume"], said["named_1"]) == (
        "25.40 mm",
        "14.83 mm",
        "6.00 ml",
        "",
    )


def test_a_volume_never_takes_a_length():
    assert parse_value("6.25 ml", VOLUME) == 6.25
    with pytest.raises(NotANumber, match="a length"):
        parse_value("6.25 inches", VOLUME)


def test_dial_readings_reach_the_facing_and_bores_at_depths_do_not_touch_the_exit():
    entry = kept(b4_left="36", dial_right="2 0.9", bore="0.591", bore_at_1="9", bore_1="0.58")
    facing = facing_of(entry.readings)
    assert [(one.position_mm, one.gap_mm) for one in facing.dial_right] == [(2.0, 0.9)]
    assert len(facing.left) == 1
    assert not facing.right
