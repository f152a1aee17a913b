"""Other lengths between two sets: resolution, Eₙ, history, and the bore's taper in words."""

from itertools import pairwise
from math import sqrt

import pytest

from app.core.compare.length_changes import (
    describe_taper,
    fit_taper,
    label_reading,
    list_history,
    pair_lengths,
    reading_u,
    tell_lengths,
)
from app.core.compare.length_changes import take_as_typed as typed_as
from app.core.facing.corrections import ToldReading
from app.core.gauges.hand_gauges import step_of
from app.core.values.readings import ReadingEntry
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


def test_the_exit_bore_in_en_form_worked_by_hand():
    # GUM 4.3.7: half-width 0.0005 in over root 3, and a hand good to 0.0005 in (assumed);
    # Eₙ as in ISO 13528, here with U of the difference
    before = [length("bore", "0.591", 0.591 * 25.4, scale="bore_in")]
    after = [length("bore", "0.593", 0.593 * 25.4, scale="bore_in")]
    (pair,) = pair_lengths(typed_as(before), typed_as(after))
    assert pair.label == "Exit bore"
    assert pair.change is not None
    spread = 2 * sqrt(2) * sqrt(0.0127**2 / 3 + 0.0127**2)
    assert pair.change.expanded_uncertainty == pytest.approx(spread)
    assert pair.change.en == pytest.approx(0.0508 / spread)
    assert pair.change.changed


@pytest.mark.parametrize(("after", "changed"), [(1.10, False), (1.11, False), (1.12, True)])
def test_one_step_of_the_gauge_is_no_change_and_two_are(after, changed):
    later = length(typed=f"{after:.2f}", value=after)
    (pair,) = pair_lengths(typed_as([length(typed="1.10", value=1.10)]), typed_as([later]))
    assert pair.change is not None
    assert pair.change.changed is changed


def test_each_set_brings_its_own_uncertainty():
    one, other = length(), length(typed="1.3", value=1.3)
    (pair,) = pair_lengths(typed_as([one], lambda _: 0.3), typed_as([other], lambda _: 0.4))
    assert pair.change is not None
    assert pair.change.expanded_uncertainty == pytest.approx(2 * 0.5)


def test_the_bore_takes_value_and_uncertainty_from_its_gauge_and_the_rest_does_not():
    bore = length("bore", "0.591", 15.0114, scale="bore_in", depth_mm=5.0)
    told = [ToldReading(14.95, 0.02), ToldReading(9.9, 0.9)]
    lengths = tell_lengths([bore, length()], told)
    assert [one.value_mm for one in lengths.readings] == [14.95, 1.1]
    assert lengths.readings[0].typed == "0.591"
    assert lengths.u_mm == (0.02, reading_u(length()))


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
    pairs = {one.label: one for one in pair_lengths(typed_as(before), typed_as(after))}
    met = {label for label, one in pairs.items() if one.change}
    assert met == {"Baffle depth at 10 mm", "Shank length", "Exit bore"}
    assert pairs["Side rail width, left"].after is None
    assert pairs["Side rail width, right"].before is None


def test_the_history_lists_what_other_sets_read_for_the_same_thing():
    own = [length(), length("window_width", "11", 11.0)]
    others = {3: typed_as([length(typed="0.9", value=0.9)]), 7: typed_as([length("bore")])}
    rows = list_history(typed_as(own), others)
    found = {label_reading(row.reading): [set_id for set_id, _ in row.others] for row in rows}
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
    words = " ".join(describe_taper(fit_taper(typed_as(readings))))
    assert "narrows inwards" in words
    assert f"(1 in {float(row['one_in_N']):.0f})" in words
    assert f"included angle of {float(row['included_angle_deg']):.2f}" in words


def test_a_cylinder_and_a_stepped_bore_are_told_as_what_they_are():
    def bore(*diameters: float) -> list[ReadingEntry]:
        return [
            length("bore", f"{d:.2f}", d, scale="bore_mm", depth_mm=5.0 * at)
            for at, d in enumerate(diameters)
        ]

    assert "cylinder" in " ".join(describe_taper(fit_taper(typed_as(bore(14.9, 14.9, 14.9)))))
    stepped = " ".join(describe_taper(fit_taper(typed_as(bore(14.9, 14.9, 14.5, 14.5)))))
    assert "do not lie on a straight taper" in stepped
    assert list(describe_taper(fit_taper(typed_as(bore(14.9))))) == []
    assert fit_taper(typed_as([])) is None
    assert "a third would check" in " ".join(describe_taper(fit_taper(typed_as(bore(14.9, 14.5)))))


def test_a_dial_carries_the_dials_uncertainty():
    assert reading_u(length("dial", "0.9", 0.9, depth_mm=2.0, rail="left")) == 0.005


def test_pairs_stand_in_the_order_of_the_page_and_dials_by_place():
    readings = [
        length("dial", "0.7", 0.7, depth_mm=4.0, rail="left"),
        length("dial", "0.9", 0.9, depth_mm=2.0, rail="right"),
        length("dial", "0.9", 0.9, depth_mm=2.0, rail="left"),
        length("window_width", "11", 11.0),
        length("bore", "0.58", 14.7, scale="bore_in", depth_mm=10.0),
        length("bore", "0.58", 14.7, scale="bore_in", depth_mm=5.0),
    ]
    labels = [one.label for one in pair_lengths(typed_as(readings), typed_as([]))]
    assert labels[:3] == ["Bore at 5 mm", "Bore at 10 mm", "Window width"]
    assert all("2 mm, left" in a or "2 mm, right" in a or "4 mm" in b
               for a, b in pairwise(labels[3:]))  # fmt: skip
