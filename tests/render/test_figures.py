"""Sheets of paper: nothing loaded before it is needed, words measured and broken well."""

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from app.render.figures import Plot, clean_text, nice_ticks, text_width_mm, wrap_text
from app.render.profile import draw_profile
from tests.render.cases import alike, before_and_after

ROOT = Path(__file__).parents[2]


def test_importing_render_loads_no_matplotlib():
    code = (
        "import importlib, pkgutil, sys, app.render\n"
        "names = [m.name for m in pkgutil.iter_modules(app.render.__path__, 'app.render.')]\n"
        "assert 'app.render.profile' in names\n"
        "for name in names:\n"
        "    importlib.import_module(name)\n"
        "assert not [m for m in sys.modules if m.split('.')[0] in ('matplotlib', 'PIL')]\n"
        "assert not [m for m in sys.modules if m.startswith('app.store')]\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_pictures_drawn_at_once_are_the_same_as_drawn_alone():
    cases = [before_and_after(), alike()]
    alone = [draw_profile(case) for case in cases]
    drawn = {}

    def draw(worker):
        drawn[worker] = draw_profile(cases[worker % 2])

    threads = [threading.Thread(target=draw, args=(worker,)) for worker in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [drawn[worker] for worker in range(8)] == alone * 4


def test_a_drawing_leaves_the_callers_matplotlib_settings_alone():
    from matplotlib import rcParams

    with_hands_off = dict(rcParams)
    draw_profile(before_and_after())
    assert dict(rcParams) == with_hands_off


def test_a_makers_own_matplotlib_settings_change_nothing():
    from matplotlib import rc_context

    plain = draw_profile(before_and_after())
    with rc_context({"lines.linewidth": 9, "svg.fonttype": "none", "savefig.bbox": "tight",
                     "lines.scale_dashes": False, "font.size": 30}):  # fmt: skip
        assert draw_profile(before_and_after()) == plain


@pytest.mark.parametrize("text", ["short", "many words " * 20, "unbroken" * 30, "Ærøskøbing ½ ″"])
@pytest.mark.parametrize("width_mm", [12.0, 30.0, 80.0])
def test_wrapped_lines_fit_and_lose_nothing_unmarked(text, width_mm):
    lines = wrap_text(text, width_mm, 4)
    assert 1 <= len(lines) <= 4
    assert all(text_width_mm(line) <= width_mm for line in lines)
    joined = "".join(lines).replace(" ", "")
    whole = text.replace(" ", "")
    assert joined == whole or (joined.endswith("…") and whole.startswith(joined[:-1]))


def test_wrapping_without_limit_keeps_every_letter():
    text = "a long name, " * 30
    assert "".join(wrap_text(text, 40.0, 999)).replace(" ", "") == text.replace(" ", "")


def test_an_empty_text_has_no_lines():
    assert wrap_text("  \n ", 40.0, 3) == []


def test_clean_text_keeps_letters_and_drops_signs_no_picture_can_hold():
    assert clean_text("a\x00b\nc\ud800d\uffffe") == "a b c d e"
    assert clean_text("Łódź  $x_1$ <b>&amp;") == "Łódź $x_1$ <b>&amp;"


def test_ticks_are_round_and_inside():
    assert nice_ticks(0, 23.4, 12) == pytest.approx([0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22])
    assert nice_ticks(-0.03, 1.13, 6) == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 1.0])


def test_a_plot_puts_its_edges_on_its_edges():
    plot = Plot(10, 20, 100, 50, x_low=-1, x_high=4, y_low=0, y_high=2)
    assert plot.place([-1, 4], [0, 2]) == ([10, 110], [20, 70])
