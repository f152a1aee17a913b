"""The cut's picture: nothing clipped or written over, told apart in one bit, the same bytes."""

import pytest

from app.core.plan.facings import PlainFacing, even_up
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import PlanRequest
from app.core.values.readings import FacingReadings
from app.core.values.units import format_blade
from app.render.cut import SIZES_MM, CutPicture, compose_cut, draw_cut
from app.render.looks import BladeLevel
from tests.core.planning import BLADES_MM, CLOSE, OPEN, read_numbers
from tests.render.sheets import composed, faults_of_words, words

UNEVEN = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 20.5, 10.5, 4.5])
WIDE = read_numbers([52, 38, 26, 20], 2.4)
REQUESTS = {
    "rails alone": PlanRequest(CLOSE, OPEN),
    "table first": PlanRequest(OPEN, CLOSE),
    "within a tolerance": PlanRequest(OPEN, CLOSE, tolerance_mm=0.03),
    "evening up": PlanRequest(UNEVEN, even_up(UNEVEN)),
    "nothing": PlanRequest(OPEN, OPEN),
    "a wide tip": PlanRequest(WIDE, PlainFacing(27.0, 2.6), table_end_mm=60.0),
    "no tip": PlanRequest(FacingReadings(CLOSE.left), PlainFacing(18.0, 1.25)),
}
BLADES = tuple(BladeLevel(gap, format_blade(gap)) for gap in BLADES_MM)


def picture(case, rail="left", **fields):
    request = REQUESTS[case]
    plan = plan_removal(request)
    side = "right" if rail == "right" else "left"
    return CutPicture(
        rail, getattr(plan, side), getattr(request.now, side), request.now.tip_opening_mm, BLADES,
        **fields,
    )  # fmt: skip


@pytest.mark.parametrize("size", SIZES_MM)
@pytest.mark.parametrize("case", REQUESTS)
def test_no_word_is_clipped_small_or_written_over_another(case, size):
    shown = picture(case, size=size)
    sheet = composed(lambda sheet: compose_cut(sheet, shown), *SIZES_MM[size])
    assert faults_of_words(sheet) == []


@pytest.mark.parametrize(
    ("case", "told", "left_out"),
    [
        ("rails alone", {"now, left rail", "target"}, {"after the table"}),
        ("table first", {"now, left rail", "target", "after the table"}, set()),
    ],
)
def test_lines_are_named_beside_them_and_the_table_step_only_where_there_is_one(
    case, told, left_out
):
    shown = picture(case)
    sheet = composed(lambda sheet: compose_cut(sheet, shown), *SIZES_MM["screen"])
    texts = {text.get_text() for text, *_ in words(sheet)}
    assert told <= texts
    assert not texts & left_out
    assert {"to come off, 0.01 mm", "gap, mm", "mm from the tip"} <= texts


def test_where_nothing_comes_off_the_picture_says_so():
    shown = picture("evening up")
    sheet = composed(lambda sheet: compose_cut(sheet, shown), *SIZES_MM["screen"])
    assert "Nothing to come off here." in {text.get_text() for text, *_ in words(sheet)}


def test_the_same_cut_gives_the_same_bytes_and_another_rail_others():
    first = draw_cut(picture("table first", rail="both"))
    assert first == draw_cut(picture("table first", rail="both"))
    assert first != draw_cut(picture("table first", rail="right"))
