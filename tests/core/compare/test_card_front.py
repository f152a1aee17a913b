"""What the player reads: only what was read, and never two opposite things at once."""

from datetime import date

import pytest

from app.core.compare.card_front import SAME, SAME_TOO, Told, list_figures, say_again, say_care
from app.core.compare.card_picture import CHANGED_GAP, TAKEN_OFF, build_picture, mean_stops
from app.core.facing.evenness import CANNOT_TELL, EVEN, UNEVEN
from app.core.values.pieces import (
    MATERIAL_CARE,
    MATERIAL_CAUTIONS,
    MATERIAL_DISINFECTING,
    MATERIALS,
)
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import SCALES

TIP = SCALES["tip_mm"]
GAPS = (0.8636, 0.6096, 0.254, 0.0381)


def facing(numbers, tip=None, right=None):
    rails = [
        tuple(BladeStop(gap, n / 2) for gap, n in zip(GAPS, numbers, strict=True))
        for numbers in (numbers, right or numbers)
    ]
    return FacingReadings(rails[0], rails[1], tip)


def test_figures_are_written_as_they_were_read():
    before, after = facing((5.5, 11.5, 21, 33.5), 1.07), facing((6.5, 13, 23, 36), 1.15)
    made = list_figures(before, after, Told(0.08, 1.25), (UNEVEN, EVEN), TIP)
    assert [(one.before, one.after) for one in made] == [
        ("1.07", "1.15"), ("16.75", "18.0"), ("uneven", "even"),
    ]  # fmt: skip
    assert made[0].sentence == "More open than it came."
    assert made[1].sentence == "Longer than it came."
    uneven = facing((5.5, 11.5, 21, 33.5), None, (5.5, 11.5, 21, 34))
    assert [one.after for one in list_figures(None, uneven, Told(), ("", ""), TIP)] == [
        "16.75/17.0"
    ]


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        (Told(0.0, 0.0), SAME_TOO),
        (Told(0.0, -0.5, moved=True), "Shorter than it came."),
        (Told(0.0, 0.25, moved=True, together=True),
         "All blades together stop a little further from the tip; the length alone doesn’t show "
         "it."),
        (Told(0.0, 0.0, unsure=frozenset({"facing_length"}), shortened_mm=0.5),
         "0.5 mm came off the tip; beside that it reads a little otherwise, too little to be "
         "sure."),
        (Told(0.0, -0.25, moved=True, together=True, shortened_mm=0.5),
         "0.5 mm came off the tip; beside that all blades together stop a little nearer the tip; "
         "the length alone doesn’t show it."),
        (Told(0.05, 0.0, moved=True, as_whole=True),
         "The facing has changed as a whole, but this figure by itself doesn’t show it."),
        (Told(0.0, 1.5, doubted=True),
         "A reading is to be taken again before anything is said of it."),
    ],
)  # fmt: skip
def test_the_length_is_told_as_far_as_the_comparison_lets_it(told, sentence):
    before, after = facing((5.5, 11.5, 21, 33.5), 1.07), facing((6, 12, 21.5, 34), 1.07)
    length = list_figures(before, after, told, ("", ""), TIP)[1]
    assert length.sentence == sentence


def test_rails_that_were_uneven_are_said_to_be_even_now_only_where_something_changed():
    for moved in (True, False):
        (rails,) = list_figures(None, None, Told(moved=moved), (UNEVEN, EVEN), TIP)
        assert ("now they lie alike" in rails.sentence) is moved


@pytest.mark.parametrize(
    ("told_mm", "words"),
    [
        (0.03, "A little more open than it came."),
        (-0.03, "A little closer than it came."),
        (0.2, "Much more open than it came."),
        (0.0, "The same as it came, as far as can be measured."),
    ],
)
def test_the_tip_is_told_by_its_size(told_mm, words):
    before, after = FacingReadings(tip_opening_mm=1.0), FacingReadings(tip_opening_mm=1.0 + told_mm)
    (tip,) = list_figures(before, after, Told(told_mm), ("", ""), TIP)
    assert tip.sentence == words


def test_what_can_not_be_compared_is_said_once():
    made = list_figures(None, facing((5.5, 11.5, 21.5, 33.5), 1.05), Told(), ("", EVEN), TIP)
    assert [bool(one.sentence) for one in made] == [True, False, True]
    assert "nothing earlier" in made[0].sentence


def test_what_holds_for_both_figures_is_said_of_the_second_too():
    came, went = facing((5.5, 11.5, 21, 33.5), 1.07), facing((5.5, 11.5, 22, 33.5), 1.07)
    unsure = frozenset({"tip_opening", "facing_length"})
    for told, again in (
        (Told(0.0, 0.0, moved=True, as_whole=True), "Nor does this one."),
        (Told(0.0, 0.0, unsure=unsure), "So does this."),
    ):
        made = list_figures(came, went, told, (EVEN, EVEN), TIP)
        assert made[1].sentence == again


def test_each_figure_that_stayed_says_so():
    kept = facing((5.5, 11.5, 21.5, 33.5), 1.05)
    made = list_figures(kept, kept, Told(0.0, 0.0), (EVEN, EVEN), TIP)
    assert [one.sentence for one in made[:2]] == [SAME, SAME_TOO]


@pytest.mark.parametrize("verdict", [EVEN, UNEVEN, CANNOT_TELL])
def test_each_verdict_on_the_rails_has_a_sentence(verdict):
    (rails,) = list_figures(None, None, Told(), ("", verdict), TIP)
    assert rails.sentence.endswith(".")


def test_care_follows_the_material_and_hard_rubber_is_spoken_of_on_hard_rubber_alone():
    for material in MATERIALS:
        words = " ".join(say_care(material, "Swab it dry."))
        assert words.startswith("Swab it dry. ")
        assert ("hard rubber" in words) == (material == "hard_rubber")
    assert set(MATERIAL_CARE) == set(MATERIAL_CAUTIONS) == set(MATERIAL_DISINFECTING)
    assert set(MATERIAL_CARE) == set(MATERIALS)
    assert all("eye protection" in words for words in MATERIAL_CAUTIONS.values())
    assert "alcohol" in MATERIAL_DISINFECTING["plastic"]
    for one in (MATERIAL_CARE, MATERIAL_CAUTIONS, MATERIAL_DISINFECTING):
        assert not any("ubber" in one[key] for key in MATERIALS if key != "hard_rubber")
    assert "plating" in MATERIAL_CARE["metal"]
    assert "lead" in MATERIAL_CARE["glass"]
    assert "No alcohol" in MATERIAL_CARE["plastic"]


def test_the_next_look_is_a_month_and_a_year():
    assert "around November 2028," in say_again(date(2026, 11, 25), 24)
    assert "around January 2027," in say_again(date(2026, 12, 31), 1)
    assert "around December 2027," in say_again(date(2026, 12, 1), 12)
    assert say_again(date(2026, 11, 25), None) == ""


def test_the_picture_runs_through_the_readings_and_says_what_came_off():
    before, after = facing((5.5, 11.5, 21, 33.5), 1.07), facing((6.5, 13, 23, 36), 1.15)
    drawn = build_picture(before, after, changed=True)
    assert drawn is not None
    assert (drawn.before[0], drawn.after[0]) == ((0.0, 1.07), (0.0, 1.15))
    assert drawn.taken[0] == (0.0, pytest.approx(8.0))
    assert drawn.numbers[0] == (0.0, "8")
    assert drawn.taken_name == TAKEN_OFF
    assert "before, from 1.07 mm at the tip down to the last reading at 16.8 mm" in drawn.alt
    assert "8 at 0 mm" in drawn.alt
    closer = build_picture(after, before, changed=True)
    assert closer is not None
    assert closer.taken_name == CHANGED_GAP
    assert closer.numbers[0] == (0.0, "−8")


def test_without_a_change_nothing_is_drawn_as_taken_off():
    before, after = facing((5.5, 11.5, 21, 33.5), 1.07), facing((5.5, 11.5, 21, 34), 1.08)
    drawn = build_picture(before, after, changed=False)
    assert drawn is not None
    assert (drawn.taken, drawn.numbers, drawn.taken_name) == ((), (), "")


def test_the_line_is_the_mean_of_both_rails_or_the_rail_that_was_felt():
    both = facing((5.5, 11.5, 21, 33.5), None, (6.5, 11.5, 22, 33.5))
    assert [one.position_mm for one in mean_stops(both)] == [16.75, 10.75, 5.75, 3.0]
    one_rail = FacingReadings(right=both.right)
    assert mean_stops(one_rail) == both.right
    assert build_picture(None, None, changed=False) is None
    assert build_picture(FacingReadings(tip_opening_mm=1.0), None, changed=False) is None
