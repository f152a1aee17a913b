"""What a return card says of its readings: never more than its own table shows."""

from datetime import date

import pytest

from app.core.compare.card_front import Told, list_figures
from app.core.compare.cards import build_measured_part
from app.core.compare.comparison import compare
from app.core.compare.differences import ReadSet, take_facing
from app.core.facing.corrections import correct_readings
from app.core.facing.evenness import EVEN, UNEVEN
from app.core.facing.measurements import Blade, GaugesInUse
from app.core.gauges.sizes import GaugeFacts, SetSizes, SizeCheck, StudiedRepeat
from app.core.values.passes import PassEntry, say_done, tell_done
from app.core.values.readings import BladeStop, FacingReadings, ReadingEntry
from app.core.values.units import SCALES

GAPS = (0.8636, 0.6096, 0.254, 0.0381)
GAUGES = GaugesInUse(
    tuple(Blade(i, gap) for i, gap in enumerate(GAPS, 1)),
    SCALES["glass_half_mm"],
    SCALES["tip_mm"],
    SCALES["bore_in"],
)


def facing(left, tip=None, right=None):
    rails = [
        tuple(BladeStop(gap, n / 2) for gap, n in zip(GAPS, numbers, strict=True))
        for numbers in (left, right or left)
    ]
    return FacingReadings(rails[0], rails[1], tip)


def card(before, after):
    sets = [None if one is None else take_facing(one) for one in (before, after)]
    return build_measured_part(*sets, GAUGES, 0.5)


def front(before, after):
    """Give the player's sentences."""
    made = card(before, after)
    return [one.sentence for one in list_figures(before, after, made.told, made.rails, GAUGES.tip)]


def figures_of(made):
    return {one.label: one for one in made.figures}


def test_a_whole_case_says_what_changed_by_how_much_and_how_surely():
    # An invented job, as received and as returned.
    before, after = facing((5.5, 11.5, 21.5, 33.5), 1.05), facing((6.5, 13.5, 23.5, 35.5), 1.13)
    made = card(before, after)
    assert front(before, after)[:2] == ["More open than it came.", "Longer than it came."]
    # opener and longer at once: the net of both lies within what the readings can tell
    assert made.reed == ""
    figures = figures_of(made)
    assert figures["Tip opening"].verdict == "changed"
    assert figures["Tip opening"].change == "+0.08 ± 0.03"
    assert figures["Facing length"].before == "16.75 mm"
    assert [row.change_left for row in made.rows] == ["+2", "+2", "+2", "+1"]
    assert made.told.tip_mm == pytest.approx(0.08)
    assert made.told.length_mm == pytest.approx(1.0)
    assert made.rails == (EVEN, EVEN)


def test_no_change_is_a_quiet_sign_and_nothing_to_tell():
    before, after = facing((5.5, 11.5, 21.5, 33.5), 1.05), facing((5.5, 11.5, 21.5, 33.5), 1.06)
    made = card(before, after)
    assert made.told == Told(0.0, 0.0)
    assert front(before, after)[:2] == [
        "The same as it came, as far as can be measured.",
        "No change that can be measured here either.",
    ]
    assert {row.change_left for row in made.rows} == {"="}
    assert figures_of(made)["Tip opening"].verdict == "="
    assert made.reed == ""


def test_stops_that_moved_together_are_told_and_shown():
    before, after = facing((5.5, 12, 23.5, 35.5), 1.05), facing((6, 12.5, 24, 36), 1.05)
    made = card(before, after)
    assert front(before, after)[1] == (
        "All blades together stop a little further from the tip; the length alone doesn’t show it."
    )
    assert {row.change_left for row in made.rows} == {"+0.5"}
    assert made.told.length_mm == pytest.approx(0.25)
    assert figures_of(made)["Facing length"].verdict == "too little to tell alone"


def test_another_blade_set_does_not_make_the_facing_longer():
    """A 0.0015 in blade 0.004 mm thinner stops some 0.17 mm further in: no change of the piece."""
    before, after = facing((6, 12, 23.5, 35.5), 1.05), facing((6, 12, 23.5, 37), 1.05)
    same = [take_facing(one) for one in (before, after)]
    other = [take_facing(before), take_facing(after, blades="another set")]
    assert build_measured_part(*same, GAUGES, 0.5).told.moved
    assert not build_measured_part(*other, GAUGES, 0.5).told.moved


def test_the_net_of_tip_and_length_is_one_sentence_about_the_reed():
    before = facing((3.5, 9.5, 21, 33.5), 1.04)
    opened = card(before, facing((6, 12, 22.5, 34), 1.19)).reed
    assert opened.startswith("With the same reed it closes about ")
    assert "% harder (" in opened
    assert card(before, before).reed == ""


def test_uneven_rails_that_became_even_are_told():
    before, after = (
        facing((5.5, 11.5, 21.5, 33.5), 1.05, (5.5, 11.5, 22.5, 35)),
        facing((6, 12.5, 22.5, 35), 1.13),
    )
    assert card(before, after).rails == (UNEVEN, EVEN)
    assert "now they lie alike" in front(before, after)[2]


def test_a_reading_to_take_again_says_nothing():
    before = facing((5.5, 11.5, 21.5, 33.5), 1.05)
    crooked = facing((5.5, 11.5, 21.5, 33.5), 1.05, right=(5.5, 11.5, 21.5, 38.5))
    made = card(before, crooked)
    assert made.told.doubted
    assert front(before, crooked)[1].startswith("A reading is to be taken again")
    assert made.rails == (EVEN, EVEN), "of the blades that are not in doubt"
    assert (
        front(before, crooked)[2]
        == "Left and right lie alike, without a reading to be taken again."
    )
    assert figures_of(made)["Rails"].after == "even, without 0.0015 in"
    assert (made.rows[0].change_left, made.rows[0].change_right) == ("=", "+5?")
    assert figures_of(made)["Facing length"].verdict == "to be read again"


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, None),
        (facing((5.5, 11.5, 21.5, 33.5)), None),
        (None, facing((5.5, 11.5, 21.5, 33.5), 1.0)),
        (FacingReadings(tip_opening_mm=1.0), FacingReadings(tip_opening_mm=1.1)),
        (FacingReadings(left=(BladeStop(0.254, 11.0),)), facing((5.5, 11.5, 21.5, 33.5))),
    ],
)
def test_a_card_with_readings_missing_is_still_a_card(before, after):
    made = card(before, after)
    assert all(isinstance(one.verdict, str) for one in made.figures)


def test_an_unread_blade_keeps_its_dash():
    before = FacingReadings((BladeStop(0.0381, 17.0), BladeStop(0.6096, 6.0)))
    made = card(before, facing((5.5, 11.5, 21.5, 33.5), 1.05))
    cells = {row.blade: (row.before_left, row.before_right, row.change_left) for row in made.rows}
    assert cells["0.010 in"] == ("–", "–", "–")
    assert cells["0.0015 in"] == ("34", "–", "=")


PLUG = GaugeFacts(
    7, "bore_gauge", "plug", scale="bore_in", resolution_mm=0.0254,
    checks=(SizeCheck(date(2026, 1, 1), 14.9, 14.9, 0.005),),
    studies=(StudiedRepeat(date(2026, 1, 2), 0.012, 12.0),),
)  # fmt: skip


def read_bore(typed, plug):
    sizes = SetSizes(date(2026, 6, 10), {plug.id: plug}, bore_gauge_id=plug.id)
    read = ReadingEntry("bore", "", None, None, None, typed, "bore_in", float(typed) * 25.4)
    told = correct_readings([read], sizes)
    assert told.in_force[0].u_mm == pytest.approx(0.014925, abs=1e-6)
    return ReadSet(told.facing, (read,), told.in_force)


def test_the_bore_s_uncertainty_is_its_plug_s_step_and_study_and_the_check_s_if_it_was_another():
    # GUM 4.3.7: a plug engraved to 0.001 in is read to ± 0.0127 mm, all values alike:
    # 0.0127/√3 = 0.007 332 mm; with a study of 0.012 mm u = 0.014 063 mm, U of a difference
    # 2·√2·0.014 063 = 0.039 8 mm. The check, sure to 0.005 mm, is the same error both times; with
    # another plug it counts twice: 2·√2·0.014 925 = 0.042 2 mm.
    other = GaugeFacts(
        8, "bore_gauge", "second", scale="bore_in", resolution_mm=0.0254,
        checks=PLUG.checks, studies=PLUG.studies,
    )  # fmt: skip
    for later, expanded in ((PLUG, 0.0398), (other, 0.0422)):
        sets = read_bore("0.583", PLUG), read_bore("0.584", later)
        (bore,) = compare(*sets).changes
        assert bore.expanded_uncertainty == pytest.approx(expanded, abs=5e-5)
        (figure,) = build_measured_part(*sets, GAUGES, 0.5).figures
        assert (figure.label, figure.change) == ("Exit bore", "+0.03 ± 0.04")
        assert figure.verdict == "="


def test_what_was_done_is_gathered_by_kind_of_cut_in_the_order_it_was_begun():
    day = date(2026, 1, 1)
    passes = [
        PassEntry(day, "tilted", "wet paper", "600", 8, None, ""),
        PassEntry(day, "tilted", "wet paper", "1000", 4, None, ""),
        PassEntry(day, "flat", "", "", None, None, ""),
    ]
    assert say_done(passes) == (
        "Tilted toward the tip: 2 passes, 12 strokes (wet paper 600, wet paper 1000). "
        "Flat on the plate: 1 pass."
    )
    assert tell_done(passes) == (
        "Worked on the plate, tilted toward the tip, in 2 passes.",
        "Worked flat on the plate.",
    )
    assert (say_done([]), tell_done([])) == ("", ())
