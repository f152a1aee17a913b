"""What holds for every picture: nothing clipped, nothing hostile, the same bytes again."""

import hashlib
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from app.render.difference import compose_difference, draw_difference
from app.render.history import HistoryPicture, compose_history, draw_history
from app.render.looks import BladeLevel
from app.render.profile import compose_profile, draw_profile
from app.render.residuals import compose_residuals, draw_residuals
from app.render.run_chart import RunChart, RunPoint, compose_run_chart, draw_run_chart
from app.render.scales import SIZES_MM
from tests.render.cases import before_and_after, blade_levels
from tests.render.hostile import HOSTILE, faults_of_svg
from tests.render.pictures import PICTURES, differences, residuals, visits
from tests.render.sheets import composed, faults_of_words

ROOT = Path(__file__).parents[2]


def faults(name, **fields):
    make, compose, _ = PICTURES[name]
    picture = make(**fields)
    width, height = SIZES_MM[picture.size]
    return faults_of_words(composed(lambda sheet: compose(sheet, picture), width, height))


@pytest.mark.parametrize("size", SIZES_MM)
@pytest.mark.parametrize("name", PICTURES)
def test_no_word_is_clipped_small_or_written_over_another(name, size):
    assert faults(name, size=size) == []


ONE_OF_EACH = ("straight line", "overlay of 2", "difference", "residuals", "history of 5",
               "run chart of 12")  # fmt: skip


@pytest.mark.parametrize("words", HOSTILE)
@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_hostile_notes_do_nothing_and_fit(name, words):
    make, _, draw = PICTURES[name]
    assert faults_of_svg(draw(make(notes=(words,)))) == []
    assert faults(name, notes=(words,)) == []


@pytest.mark.parametrize("size", ["card", "small"])
@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_labels_do_nothing_and_fit(words, size):
    blades = tuple(BladeLevel(blade.gap_mm, words) for blade in blade_levels())
    for picture, compose, draw in (
        (replace(residuals(), blades=blades), compose_residuals, draw_residuals),
        (replace(before_and_after(), blades=blades), compose_profile, draw_profile),
        (replace(differences(), against=words), compose_difference, draw_difference),
        (
            HistoryPicture(tuple(replace(point, role=words) for point in visits(3))),
            compose_history,
            draw_history,
        ),
        (
            RunChart(tuple(RunPoint(words, 1.0 + at) for at in range(3)), words, order=words),
            compose_run_chart,
            draw_run_chart,
        ),
    ):
        sized = replace(picture, size=size)
        assert faults_of_svg(draw(sized)) == []
        sheet = composed(lambda s, p=sized, c=compose: c(s, p), *SIZES_MM[size])
        assert faults_of_words(sheet) == []


def test_every_picture_gives_the_same_bytes_in_another_process():
    code = (
        "import hashlib\n"
        "from tests.render.pictures import PICTURES, differences, residuals, visits\n"
        "for make, _, draw in PICTURES.values():\n"
        "    print(hashlib.sha256(draw(make())).hexdigest())\n"
    )
    there = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    here = [hashlib.sha256(draw(make())).hexdigest() for make, _, draw in PICTURES.values()]
    assert there == here
    assert len(set(here)) == len(here), "different data gives different bytes"
