"""The map of effort says at each place what was worked out for it."""

import numpy as np
import pytest

from app.core.plan.effort_map import EffortQuestion, map_effort
from app.core.plan.facings import PlainFacing, draw_facing
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.render import effort_map
from app.render.figures import FAINT
from app.render.scales import SIZES_MM
from tests.render.sheets import composed, faults_of_words, lines, words

TARGETS = [None, PlainFacing(17.6, 1.13), PlainFacing(17.0, 1.05), PlainFacing(17.1, 1.33)]


@pytest.fixture(params=[(size, target) for size in ("screen", "small") for target in TARGETS])
def drawn(request, monkeypatch):
    """Compose a map; gives what it shows, its sheet, and what a place on the sheet stands for."""
    size, target = request.param
    line = draw_facing(PlainFacing(16.8, 1.04), np.linspace(0.0, 60.0, 601))
    rail = tuple(BladeStop(gap, line.stop(gap)) for gap in (0.0381, 0.254, 0.6096, 0.8636))
    now = FacingReadings(rail, rail, 1.04)
    shown = map_effort(EffortQuestion(now, target, "clarinet_bb", Uncertainties()))
    plots, lay_plot = [], effort_map.lay_plot
    monkeypatch.setattr(
        effort_map, "lay_plot", lambda *a, **k: plots.append(lay_plot(*a, **k)) or plots[0]
    )
    picture = effort_map.EffortPicture(shown, size=size)
    sheet = composed(lambda one: effort_map.compose_effort_map(one, picture), *SIZES_MM[size])
    (plot,) = plots

    def read(rows, x_mm, y_mm):
        across, up = (x_mm - plot.left_mm) / plot.width_mm, (y_mm - plot.bottom_mm) / plot.height_mm
        ends = np.linspace(0.0, 1.0, len(rows))
        return float(np.interp(up, ends, [np.interp(across, ends, row) for row in rows]))

    return shown, sheet, read


def test_no_word_is_clipped_small_or_over_another(drawn):
    _, sheet, _ = drawn
    assert faults_of_words(sheet) == []


def test_each_per_cent_stands_where_the_reed_closes_so(drawn):
    shown, sheet, read = drawn
    found = {}
    for text, left, bottom, right, top in words(sheet):
        said = text.get_text()
        if said == "as now" or said.endswith(" %"):
            middle = (left + right) / 2.0, (bottom + top) / 2.0
            found[said] = read(shown.percent, *middle)
    assert len(found) > 4
    for said, percent in found.items():
        value = 0 if said == "as now" else int(said[:-2].replace("−", "-"))
        assert percent == pytest.approx(value, abs=0.6), said


def test_what_is_hatched_can_be_reached_and_nothing_else(drawn):
    shown, sheet, read = drawn
    (hatch,) = [one for one in lines(sheet) if one.get_color() == FAINT and one.zorder == 0.6]
    x, y = (np.array(one).reshape(-1, 3)[:, :2] for one in (hatch.get_xdata(), hatch.get_ydata()))
    inside = [read(shown.spare_mm, *place) for place in zip(x.mean(1), y.mean(1), strict=True)]
    lowest = {at: y[x[:, 0] == at].min() for at in x[:, 0]}
    below = [read(shown.spare_mm, at, low - 0.5) for at, low in lowest.items()]
    assert min(inside) >= 0.0
    assert sum(one < 0.0 for one in below) > len(below) / 2  # but for where a name stands
    assert read(shown.spare_mm, x.min() - 1.8, y.max()) < 0.0
