"""Other lengths in words: steps, Eₙ, history, and the bore's taper."""

from datetime import date
from itertools import pairwise
from math import sqrt

import pytest

from app.core.compare.comparison import compare
from app.core.compare.differences import ReadSet, figure_key
from app.core.compare.length_words import (
    describe_taper,
    fit_taper,
    label_reading,
    list_history,
    list_lengths,
)
from app.core.facing.corrections import ToldReading, correct_readings
from app.core.gauges.hand_gauges import step_of
from app.core.gauges.sizes import SetSizes
from app.core.values.readings import FacingReadings, ReadingEntry
from tests.published.data_files import read_rows


def length(
    quantity: str = "tip_rail_width",
    typed: str = "1.1",
    value: float = 1.1,
    *,
    scale: str = "length_mm",
    rail: str = "",
    depth_mm: float | None = None,
    name: str = "",
) -> ReadingEntry:
    return ReadingEntry(quantity, rail, None, None, depth_mm, typed, scale, value, name)


@pytest.mark.parametrize(
    ("typed", "value", "scale", "step"),
    [
        ("1.10", 1.10, "length_mm", 0.01),
        ("1.1", 1.1, "length_mm", 0.1),
        ("1,1 mm", 1.1, "length_mm", 0.1),
        ("42", 42.0, "length_mm", 1.0),
        ("1.1234", 1.1234, "length_mm", 0.01),  # no finer than the calliper's own step
        ("1.15 in", 29.21, "length_mm", 0.254),
        ("1½", 1.5, "length_mm", 0.5),
        ("1 1/4", 1.25, "length_mm", 0.25),
        ("0", 0.0, "length_mm", 1.0),
        ("6.4 ml", 6.4, "volume_ml", 0.1),
    ],
)
def test_the_last_place_written_is_the_resolution(typed, value, scale, step):
    assert step_of(length(typed=typed, value=value, scale=scale)) == pytest.approx(step)


@pytest.mark.parametrize("typed", ["0.591", "0.59", "1"])
def test_an_engraved_bore_gauge_is_read_to_its_own_step_however_it_is_written(typed):
    reading = length("bore", typed, float(typed) * 25.4, scale="bore_in")
    assert step_of(reading) == pytest.approx(0.0254)


def told(readings) -> tuple[ToldReading, ...]:
    """Tell readings by what is known without a register of gauges."""
    return correct_readings(readings, SetSizes(date(2026, 11, 25))).in_force


def compared(before, after):
    sets = [ReadSet(FacingReadings(), tuple(one), told(one)) for one in (before, after)]
    return compare(*sets).changes


def lengths(*readings):
    return list_lengths(readings, told(readings))


def test_the_exit_bore_in_en_form_worked_by_hand():
    # GUM 4.3.7: half-width 0.0005 in over root 3, and a hand good to 0.01 mm (assumed);
    # Eₙ as in ISO 13528, here with U of the difference
    before = [length("bore", "0.583", 0.583 * 25.4, scale="bore_in")]
    after = [length("bore", "0.586", 0.586 * 25.4, scale="bore_in")]
    (change,) = compared(before, after)
    spread = 2 * sqrt(2) * sqrt(0.0127**2 / 3 + 0.01**2)
    assert change.expanded_uncertainty == pytest.approx(spread)
    assert change.en == pytest.approx(0.0762 / spread)
    assert change.told_changed


@pytest.mark.parametrize(
    ("after", "changed", "is_told"),
    [(1.11, False, False), (1.12, True, False), (1.13, True, True)],
)
def test_one_step_of_the_gauge_is_no_change_and_three_may_be_said_to_be(after, changed, is_told):
    later = length(typed=f"{after:.2f}", value=after)
    (change,) = compared([length(typed="1.10", value=1.10)], [later])
    assert (change.changed, change.told_changed) == (changed, is_told)


def test_each_set_brings_its_own_uncertainty():
    sets = [ReadSet(FacingReadings(), (length(),), (ToldReading(1.1, u),)) for u in (0.3, 0.4)]
    (change,) = compare(*sets).changes
    assert change.expanded_uncertainty == pytest.approx(2 * 0.5)


def test_a_length_takes_value_and_uncertainty_from_its_gauge():
    bore = length("bore", "0.583", 14.8082, scale="bore_in", depth_mm=5.0)
    (found,) = list_lengths([bore], [ToldReading(14.82, 0.02)])
    assert (found.reading.value_mm, found.reading.typed, found.u_mm) == (14.82, "0.583", 0.02)


def test_readings_meet_by_quantity_rail_place_and_name():
    before = [
        length("side_rail_width", rail="left"),
        length("baffle_depth", "2", 2.0, depth_mm=10.0),
        length("named", "29.2", 29.2, name="Shank length"),
        length("bore", "0.58", 14.73, scale="bore_in", depth_mm=0.0),
    ]
    after = [
        length("side_rail_width", rail="right"),
        length("baffle_depth", "2.1", 2.1, depth_mm=10.001),
        length("named", "29.3", 29.3, name="shank length"),
        length("bore", "0.58", 14.73, scale="bore_in"),
    ]
    assert [one.key for one in compared(before, after)] == [figure_key(one) for one in after[1:]]


def test_the_history_lists_what_other_sets_read_for_the_same_thing():
    own = lengths(length(), length("window_width", "11", 11.0))
    others = {3: lengths(length(typed="0.9", value=0.9)), 7: lengths(length("bore"))}
    rows = list_history(own, others)
    found = {label_reading(row.length.reading): [n for n, _ in row.others] for row in rows}
    assert found == {"Tip rail width": [3], "Window width": []}


@pytest.mark.parametrize("row", read_rows("morse_taper.csv"), ids=lambda row: f"MT{row['MT']}")
def test_a_morse_taper_is_told_as_one_in_n(row):
    # Machinery's Handbook sizes as kept in tests/published/data; 1 in N is computed there
    big, small, deep = (
        25.4 * float(row[name]) for name in ("D_large_in", "d_small_in", "length_in")
    )
    readings = [
        length("bore", str(big), big, scale="bore_mm"),
        length("bore", str(small), small, scale="bore_mm", depth_mm=deep),
    ]
    words = " ".join(describe_taper(fit_taper(lengths(*readings))))
    assert "narrows inwards" in words
    assert f"(1 in {float(row['one_in_N']):.0f})" in words
    assert f"included angle of {float(row['included_angle_deg']):.2f}" in words


def test_a_cylinder_and_a_stepped_bore_are_told_as_what_they_are():
    def bore(*diameters: float):
        found = [
            length("bore", f"{d:.2f}", d, scale="bore_mm", depth_mm=5.0 * at)
            for at, d in enumerate(diameters)
        ]
        return lengths(*found)

    assert " ".join(describe_taper(fit_taper(bore(14.9, 14.9, 14.9)))).startswith(
        "The bore can’t be told from a cylinder of 14.90 mm: its taper is 0.0 ± "
    )
    stepped = " ".join(describe_taper(fit_taper(bore(14.9, 14.9, 14.5, 14.5))))
    assert "do not lie on a straight taper" in stepped
    assert list(describe_taper(fit_taper(bore(14.9)))) == []
    assert fit_taper(()) is None
    assert "a third would check" in " ".join(describe_taper(fit_taper(bore(14.9, 14.5))))


def test_a_dial_of_no_register_carries_the_usual_uncertainty():
    (one,) = told([length("dial", "0.9", 0.9, depth_mm=2.0, rail="left")])
    assert one.u_mm == pytest.approx(0.005, abs=1e-4)


def test_lengths_stand_in_the_order_of_the_page_and_dials_by_place():
    readings = [
        length("dial", "0.7", 0.7, depth_mm=4.0, rail="left"),
        length("dial", "0.9", 0.9, depth_mm=2.0, rail="right"),
        length("dial", "0.9", 0.9, depth_mm=2.0, rail="left"),
        length("window_width", "11", 11.0),
        length("bore", "0.58", 14.7, scale="bore_in", depth_mm=10.0),
        length("bore", "0.58", 14.7, scale="bore_in", depth_mm=5.0),
    ]
    labels = [label_reading(one.reading) for one in lengths(*readings)]
    assert labels[:3] == ["Bore at 5 mm", "Bore at 10 mm", "Window width"]
    assert all("2 mm, left" in a or "2 mm, right" in a or "4 mm" in b
               for a, b in pairwise(labels[3:]))  # fmt: skip
