"""The return card's words for a real case and for what is missing."""

from datetime import date

import pytest

from app.core.compare.card_front import Told
from app.core.compare.cards import CardReadings, build_measured_part
from app.core.facing.corrections import correct_readings
from app.core.facing.evenness import EVEN, UNEVEN
from app.core.facing.measurements import Blade, GaugesInUse
from app.core.gauges.sizes import GaugeFacts, SetSizes, SizeCheck, Sized, StudiedRepeat
from app.core.values.passes import PassEntry, say_done, tell_done
from app.core.values.readings import BladeStop, FacingReadings, ReadingEntry, Uncertainties
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


def card(before, after, bores=(None, None)):
    sized = [None if bore is None else Sized(bore, 0.0124) for bore in bores]
    readings = CardReadings(before, after, *sized)
    return build_measured_part(readings, GAUGES, Uncertainties(), 0.5)


def test_a_whole_case_says_what_changed_by_how_much_and_how_surely():
    # An invented job, as received and as returned.
    made = card(
        facing((5.5, 11.5, 21.5, 33.5), 1.05),
        facing((6.5, 13.5, 23.5, 35.5), 1.13),
        (15.0114, 15.0114),
    )
    assert made.told.tip_mm == pytest.approx(0.08)
    assert made.told.length_mm == pytest.approx(1.0)
    assert made.rails == (EVEN, EVEN)
    figures = {one.label: one for one in made.figures}
    assert figures["Tip opening"].verdict == "changed"
    assert figures["Tip opening"].change == "+0.08 ± 0.03"
    assert figures["Facing length"].before == "16.75 mm"
    assert figures["Exit bore"].verdict == "="
    assert figures["Break point"].before != figures["Facing length"].before
    assert [row.change_left for row in made.rows] == ["+2", "+2", "+2", "+1"]
    assert made.curves[0].startswith("Before: The rails follow a circular arc")
    assert made.curves[1].startswith("After: The rails follow an arc with a straight tip")


def test_the_net_of_tip_and_length_is_one_sentence_about_the_reed():
    before = facing((3.5, 9.5, 21, 33.5), 1.04)
    opened = card(before, facing((6, 12, 22.5, 34), 1.19)).reed
    assert opened.startswith("With the same reed it closes about ")
    assert "% harder (" in opened
    assert card(before, before).reed == ""


def test_the_bore_s_uncertainty_is_its_plug_s_step_study_and_check_together():
    # GUM 4.3.7: a plug engraved to 0.001 in is read to ± 0.0127 mm, all values alike:
    # 0.0127/√3 = 0.007 332 mm. With a study of 0.012 mm and a check sure to 0.005 mm, by hand:
    # u = √(53.76 + 144 + 25)·10⁻³ = 0.014 925 mm for one bore; for a difference of two
    # U = 2·√2·0.014 925 = 0.042 2 mm. The step alone would have made 0.020 7 mm.
    plug = GaugeFacts(
        7, "bore_gauge", "plug", scale="bore_in", resolution_mm=0.0254,
        checks=(SizeCheck(date(2026, 1, 1), 14.9, 14.9, 0.005),),
        studies=(StudiedRepeat(date(2026, 1, 2), 0.012, 12.0),),
    )  # fmt: skip
    sizes = SetSizes(date(2026, 6, 10), {7: plug}, bore_gauge_id=7)
    bores = []
    for typed in ("0.591", "0.592"):
        read = ReadingEntry("bore", "", None, None, None, typed, "bore_in", float(typed) * 25.4)
        (told,) = correct_readings([read], sizes).in_force
        assert told.u_mm == pytest.approx(0.014925, abs=1e-6)
        bores.append(Sized(told.value_mm, told.u_mm))
    made = build_measured_part(CardReadings(None, None, *bores), GAUGES, Uncertainties(), 0.5)
    (bore,) = [one for one in made.figures if one.label == "Exit bore"]
    assert bore.change == "+0.03 ± 0.04"
    assert bore.verdict == "="


def test_no_change_is_a_quiet_sign_and_nothing_to_tell():
    made = card(facing((5.5, 11.5, 21.5, 33.5), 1.05), facing((5.5, 11.5, 21.5, 33.5), 1.06))
    assert made.told == Told(0.0, 0.0)
    assert {row.change_left for row in made.rows} == {"="}
    assert [one.verdict for one in made.figures if one.label == "Tip opening"] == ["="]
    assert made.reed == ""


def test_uneven_rails_that_became_even_are_told():
    made = card(
        facing((5.5, 11.5, 21.5, 33.5), 1.05, (5.5, 11.5, 23.5, 37.5)),
        facing((6.5, 13.5, 23.5, 37.5), 1.13),
    )
    assert made.rails == (UNEVEN, EVEN)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, None),
        (facing((5.5, 11.5, 21.5, 33.5)), None),
        (None, facing((5.5, 11.5, 21.5, 33.5), 1.03)),
        (FacingReadings(tip_opening_mm=1.0), FacingReadings(tip_opening_mm=1.1)),
        (FacingReadings(left=(BladeStop(0.254, 11.0),)), facing((5.5, 11.5, 21.5, 33.5))),
    ],
)
def test_a_card_with_readings_missing_is_still_a_card(before, after):
    made = card(before, after)
    assert all(isinstance(one.verdict, str) for one in made.figures)


def test_what_was_done_is_gathered_by_kind_of_cut():
    day = date(2026, 1, 1)
    passes = [
        PassEntry(day, "tilted", "wet paper", "600", 8, None, ""),
        PassEntry(day, "tilted", "wet paper", "1000", 4, None, ""),
        PassEntry(day, "flat", "", "", None, None, ""),
    ]
    assert say_done(passes) == (
        "Flat on the plate: 1 pass. "
        "Tilted toward the tip: 2 passes, 12 strokes (wet paper 600, wet paper 1000)."
    )
    assert tell_done(passes) == (
        "Worked flat on the plate.",
        "Worked on the plate, tilted toward the tip, in 2 passes.",
    )
    assert (say_done([]), tell_done([])) == ("", ())
