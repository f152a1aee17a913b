"""The facing profile: told apart, never clipped, the same bytes for the same data."""

import dataclasses
import hashlib
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from app.render.looks import look_of
from app.render.profile import ProfilePicture, compose_profile, describe_profile, draw_profile
from app.render.scales import SIZES_MM
from tests.render.cases import (
    FACINGS,
    before_and_after,
    blade_levels,
    picture,
    profile_line,
    target_line,
    uneven,
)
from tests.render.hostile import HOSTILE, faults_of_svg
from tests.render.prints import prints_on
from tests.render.sheets import (
    black_along,
    composed,
    faults_of_words,
    lines,
    one_bit,
    words,
)

ROOT = Path(__file__).parents[2]


def sheet_of(picture):
    width, height = SIZES_MM[picture.size]
    size = (picture.width_mm or width, picture.height_mm or height)
    return composed(lambda sheet: compose_profile(sheet, picture), *size)


@pytest.mark.parametrize("size", SIZES_MM)
@pytest.mark.parametrize("facing", FACINGS)
def test_no_word_is_clipped_small_or_written_over_another(facing, size):
    picture = FACINGS[facing](size=size)
    assert faults_of_words(sheet_of(picture)) == []


@pytest.mark.parametrize("height_mm", [80.0, 66.0, 52.5])
@pytest.mark.parametrize("facing", FACINGS)
def test_the_return_cards_low_and_wide_picture_holds_all_its_words(facing, height_mm):
    picture = FACINGS[facing](width_mm=184.0, height_mm=height_mm)
    assert faults_of_words(sheet_of(picture)) == []


@pytest.mark.parametrize("seed", range(12))
def test_words_stay_apart_on_facings_drawn_at_random(seed):
    chance = np.random.default_rng(seed)
    size = ("card", "screen", "small")[seed % 3]
    drawn = []
    for state, start in (("before", chance.uniform(28, 38)), ("after", chance.uniform(28, 40))):
        tip = chance.uniform(0.9, 1.3)
        for rail in ("left", "right"):
            numbers = start * np.array([1, 0.66, 0.37, 0.19]) + chance.choice([-0.5, 0, 0.5], 4)
            drawn.append(profile_line(numbers, tip, rail, state))
    picture = ProfilePicture(tuple(drawn), blade_levels(), size=size)
    assert faults_of_words(sheet_of(picture)) == []


@pytest.mark.parametrize("size", SIZES_MM)
@pytest.mark.parametrize("facing", FACINGS)
def test_no_line_runs_through_a_name(facing, size):
    picture = FACINGS[facing](size=size)
    sheet = sheet_of(picture)
    names = {line.name for line in picture.lines}
    labels = [box for box in words(sheet) if box[0].get_text().split(",")[0] in names]
    assert len(labels) >= len({(line.name) for line in picture.lines})
    curves = [line for line in lines(sheet) if line.get_zorder() in (2.2, 2.4)]
    for text, left, bottom, right, top in labels:
        for curve in curves:
            x, y = curve.get_data()
            along = np.linspace(0, len(x) - 1, 2000)
            x, y = (np.interp(along, range(len(x)), values) for values in (x, y))
            struck = (left < x) & (x < right) & (bottom < y) & (y < top)
            assert not struck.any(), text.get_text()


def test_the_same_data_gives_the_same_bytes_in_another_process():
    code = (
        "import hashlib\n"
        "from app.render.profile import draw_profile\n"
        "from tests.render.cases import before_and_after\n"
        "for kind in ('svg', 'png'):\n"
        "    print(hashlib.sha256(draw_profile(before_and_after(), kind)).hexdigest())\n"
    )
    there = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    here = [
        hashlib.sha256(draw_profile(before_and_after(), kind)).hexdigest()
        for kind in ("svg", "png")
    ]
    assert there == here


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_reading_half_a_number_off_gives_other_bytes(kind):
    picture = before_and_after()
    moved = profile_line((35.5, 23.5, 13.5, 7), 1.13, "left", "after")
    other = dataclasses.replace(picture, lines=(*picture.lines[:2], moved, *picture.lines[3:]))
    assert draw_profile(picture, kind) != draw_profile(other, kind)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_drawn_and_does_nothing(name):
    picture = before_and_after(notes=(name,))
    named = tuple(dataclasses.replace(line, name=name) for line in picture.lines)
    picture = dataclasses.replace(picture, lines=named)
    assert faults_of_svg(draw_profile(picture)) == []
    assert faults_of_words(sheet_of(picture)) == []


def test_a_profile_is_told_in_words_too():
    assert describe_profile(before_and_after()) == (
        "Facing profile, gap against distance from the tip: before, left; before, right; "
        "after, left; after, right. Tip opening: before 1.05 mm, after 1.13 mm."
    )
    assert describe_profile(ProfilePicture(())).endswith("nothing has been measured yet.")


def test_a_name_too_long_to_print_still_says_which_rail():
    picture = before_and_after()
    named = tuple(dataclasses.replace(line, name="unbroken" * 40) for line in picture.lines)
    shown = [text.get_text() for text, *_ in words(sheet_of(ProfilePicture(named)))]
    cut = [text for text in shown if "…" in text]
    assert sorted(text.split()[-1] for text in cut) == ["left", "left", "right", "right"]


def test_dollar_signs_are_letters_not_mathematics():
    def glyphs(note):
        picture = before_and_after(notes=(note,))
        return draw_profile(picture).count(b'<use xlink:href="#SourceSans3-Regular')

    assert glyphs("$x_2$") == glyphs("nnnnn") == glyphs("n") + 4


def test_the_enlargement_told_is_the_one_drawn():
    for size in SIZES_MM:
        sheet = sheet_of(uneven(size=size))
        told = next(
            float(match[1])
            for text, *_ in words(sheet)
            if (match := re.match(r"Gap drawn ([\d.]+) times enlarged", text.get_text()))
        )
        stops = uneven().lines[0].stops
        drawn = next(
            line for line in lines(sheet)
            if line.get_marker() == "o" and len(line.get_xdata()) == len(stops)
        )  # fmt: skip
        x, y = drawn.get_data()
        across = (x[0] - x[-1]) / (stops[0].position_mm - stops[-1].position_mm)
        up = (y[0] - y[-1]) / (stops[0].gap_mm - stops[-1].gap_mm)
        assert up / across == pytest.approx(told, rel=1e-9)


@pytest.mark.parametrize("dither", [False, True])
@pytest.mark.parametrize("size", SIZES_MM)
def test_a_one_bit_print_keeps_the_four_curves_apart(size, dither):
    picture = uneven(size=size)
    prints = prints_of(picture, dpi=300, dither=dither)
    for state in ("before", "after"):
        left, right = prints[state, "left"], prints[state, "right"]
        assert left.breaks == 0, "the left rail runs on"
        assert right.breaks >= 5, "the right rail is broken"
        assert 0.3 < right.dark < 0.85
    for rail in ("left", "right"):
        before, after = prints["before", rail], prints["after", rail]
        assert after.thick_mm > 1.4 * before.thick_mm


def test_a_one_bit_print_tells_a_target_from_a_rail():
    target = target_line(26.0, 1.5)
    now = profile_line((35.5, 23.5, 13.5, 6.5), 1.13, "right", "now")
    prints = prints_of(ProfilePicture((target, now), blade_levels()), dpi=300, dither=False)
    # Dots: many more breaks, and none of the dark stretches is as long as a dash.
    assert prints["target", None].breaks > 2 * prints["now", "right"].breaks
    assert prints["target", None].longest_mm < 0.6 * prints["now", "right"].longest_mm


def test_filled_and_open_marks_differ_in_a_one_bit_print():
    picture = uneven()
    black = one_bit(draw_profile(picture, "png", dpi=300))
    sheet = sheet_of(picture)
    for line in picture.lines:
        look = look_of(line)
        # The blade farthest from the tip but one: clear of other marks in this facing.
        marks = next(
            mark for mark in lines(sheet)
            if mark.get_marker() == "o" and mark.get_markersize() == look.mark_pt
            and len(mark.get_xdata()) > 1 and mark.get_markerfacecolor() != "none"
            and (mark.get_markerfacecolor() == "#ffffff") == look.mark_open
        )  # fmt: skip
        x, y = marks.get_data()
        centre = black_along(black, [x[2]], [y[2]], 300, reach=0)
        assert bool(centre[0]) == (line.rail == "left")


def prints_of(picture, *, dpi, dither):
    """Draw the picture as a black-and-white printer has it, and look along each line."""
    black = one_bit(draw_profile(picture, "png", dpi=dpi), dither=dither)
    return prints_on(black, sheet_of(picture), picture, dpi)


def test_what_was_not_read_is_shaded_beside_a_target_and_said():
    def told(picture):
        return " ".join(text.get_text() for text in sheet_of(picture).figure.texts)

    full = picture(
        profile_line((33.5, 21, 11.5, 5.5), 1.05, "left", "now"),
        target_line(19.0, 1.1),
        hatched=True,
    )
    assert "not read" not in told(full)
    part = FACINGS["baritone"](hatched=True, size="bench")
    assert "Slanting strokes: not read." in told(part)
    plain = dataclasses.replace(part, hatched=False)
    assert len(lines(sheet_of(part))) > len(lines(sheet_of(plain)))
