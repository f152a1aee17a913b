"""Marks stand where the scale beside them says: read back from the picture as a maker would."""

import dataclasses
import re
from datetime import date

import numpy as np
import pytest

from app.render.difference import compose_difference, difference_lines
from app.render.history import HistoryPicture, HistoryPoint, compose_history
from app.render.profile import compose_profile, compose_straight_line
from app.render.residuals import Residual, ResidualPicture, compose_residuals
from app.render.run_chart import RunChart, RunPoint, compose_run_chart
from app.render.scales import SIZES_MM
from tests.render.cases import before_and_after, blade_levels, both_rails, tenor, uneven
from tests.render.pictures import differences, residuals, visits
from tests.render.sheets import composed, lines, words

NUMBER = re.compile(r"[+−]?\d+(\.\d+)?")


def sheet_of(compose, picture):
    return composed(lambda sheet: compose(sheet, picture), *SIZES_MM[picture.size])


def numbers(sheet):
    """List the plain numbers written on a sheet, with the middle of each."""
    found = []
    for text, left, bottom, right, top in words(sheet):
        if NUMBER.fullmatch(text.get_text()):
            value = float(text.get_text().replace("−", "-"))
            found.append((value, (left + right) / 2, (bottom + top) / 2, right))
    return found


def scale(sheet, where, axis, transform=lambda value: value):
    """Fit a straight line to a scale's numbers: from a place in mm to a value."""
    picked = [(number[axis], transform(number[0])) for number in numbers(sheet) if where(number)]
    assert len(picked) >= 2
    places, values = np.array(picked).T
    slope, start = np.polyfit(places, values, 1)
    assert np.allclose(slope * places + start, values, atol=abs(slope) * 0.6), "an even scale"
    return lambda place: slope * np.asarray(place) + start


def marks(sheet, *, count, filled=None, shape="o"):
    """Rows of marks with so many in each."""
    return [
        mark.get_data()
        for mark in lines(sheet)
        if mark.get_marker() == shape
        and len(mark.get_xdata()) == count
        and (filled is None or (mark.get_markerfacecolor() != "#ffffff") == filled)
    ]


def left_of(x_mm):
    return lambda number: number[3] < x_mm


def test_the_facing_length_reads_the_same_in_mm_and_on_the_glass():
    points = tuple(
        HistoryPoint(date(2020 + at, 1, 5), "as returned", 1.0, 16.0 + at) for at in range(5)
    )
    sheet = sheet_of(compose_history, HistoryPicture(points))
    mm = scale(sheet, lambda n: n[3] < 22 and n[2] < 50, 2)
    glass = scale(sheet, lambda n: n[1] > 158 and n[0] < 100, 2)
    assert float(glass(30.0)) == pytest.approx(2 * float(mm(30.0)), abs=0.05)


@pytest.mark.parametrize("picture", [uneven(), tenor()], ids=["clarinet", "tenor"])
def test_profile_marks_read_back_on_glass_on_mm_and_on_gap(picture):
    sheet = sheet_of(compose_profile, picture)
    stops = picture.lines[2].stops
    x, y = marks(sheet, count=len(stops), filled=True)[1]
    top = max(number[2] for number in numbers(sheet))
    low = min(number[2] for number in numbers(sheet))
    glass = scale(sheet, lambda number: number[2] > top - 1, 1)(x)
    mm = scale(sheet, lambda number: number[2] < low + 1, 1)(x)
    gap = scale(sheet, lambda number: number[3] < 18 and low + 1 < number[2] < top - 1, 2)(y)
    position = [stop.position_mm for stop in stops]
    assert mm == pytest.approx(position, abs=0.05)
    assert glass * picture.glass_mm_per_number == pytest.approx(position, abs=0.05)
    assert gap == pytest.approx([stop.gap_mm for stop in stops], abs=0.02)


def test_the_straight_line_view_is_even_in_the_root_of_the_gap():
    picture = uneven()
    sheet = sheet_of(compose_straight_line, picture)
    stops = picture.lines[2].stops
    _, y = marks(sheet, count=4, filled=True)[1]
    edges = [number[2] for number in numbers(sheet)]
    inside = lambda n: n[3] < 18 and min(edges) + 1 < n[2] < max(edges) - 1  # noqa: E731
    root = scale(sheet, inside, 2, np.sqrt)(y)
    assert root**2 == pytest.approx([stop.gap_mm for stop in stops], abs=0.03)


def test_an_arc_is_nearly_straight_in_the_straight_line_view():
    picture = dataclasses.replace(
        uneven(), lines=both_rails((35.5, 23.5, 11.5, 5.5), None, None, "now")
    )
    sheet = sheet_of(compose_straight_line, picture)
    curve = next(line for line in lines(sheet) if line.get_zorder() == 2.2)
    x, y = curve.get_data()
    bend = y - np.interp(x, [x[0], x[-1]], [y[0], y[-1]])
    assert np.abs(bend).max() < 0.3, "mm on paper, less than its own width"


def test_difference_marks_read_back_in_micrometres():
    picture = differences()
    sheet = sheet_of(compose_difference, picture)
    line = picture.lines[0]
    _, y = marks(sheet, count=len(line.marks), filled=True)[0]
    low, high = (f(n[2] for n in numbers(sheet)) for f in (min, max))
    read = scale(sheet, lambda n: n[3] < 18 and low + 1 < n[2] < high - 1, 2)(y)
    assert read == pytest.approx([mark.difference_um for mark in line.marks], abs=2.0)


def test_a_facing_does_not_differ_from_itself():
    now = before_and_after().lines[2:]
    for line in difference_lines(now, now):
        assert np.abs(line.difference_um).max() < 1e-9
        assert line.tip_um == 0.0


def test_opening_the_tip_shows_as_so_many_micrometres():
    lines_now = before_and_after().lines
    found = difference_lines(lines_now[2:], lines_now[:2], u_um=5.0)
    assert [line.rail for line in found] == ["left", "right"]
    assert [line.tip_um for line in found] == pytest.approx([80.0, 80.0])
    assert {mark.half_um for line in found for mark in line.marks} == {10.0}
    # 36 was 34: at 18 mm the gap was nearly closed, and is a thin blade's thickness now.
    assert 10 < found[0].marks[0].difference_um < 38.1


def test_a_target_without_a_rail_serves_both():
    target = dataclasses.replace(before_and_after().lines[0], rail=None)
    assert len(difference_lines(before_and_after().lines[2:], [target])) == 2


def test_residuals_read_back_along_the_glass():
    picture = residuals()
    sheet = sheet_of(compose_residuals, picture)
    low = min(number[2] for number in numbers(sheet))
    read = scale(sheet, lambda number: number[2] < low + 1, 1)
    drawn = sorted(read(mark[0][0]) for mark in marks(sheet, count=1))
    assert drawn == pytest.approx(sorted(r.residual_mm for r in picture.residuals), abs=0.01)


def test_a_reading_to_take_again_says_so():
    said = Residual("left", 0.254, 0.8, 0.3, take_again=True)
    picture = ResidualPicture((said,), blade_levels())
    texts = [word[0].get_text() for word in words(sheet_of(compose_residuals, picture))]
    assert "left, take again" in texts


def test_history_points_read_back_in_time_and_size():
    points = visits(7)
    sheet = sheet_of(compose_history, HistoryPicture(points[::-1]))
    tips = sorted((mark[0][0], mark[1][0]) for mark in marks(sheet, count=1))
    upper = sorted(tip for tip in tips if tip[1] > 50)
    assert len(upper) == 7
    read = scale(sheet, lambda n: n[3] < 22 and n[2] > 50, 2)
    assert [float(read(y)) for _, y in upper] == pytest.approx(
        [point.tip_opening_mm for point in points], abs=0.004
    )
    low = min(number[2] for number in numbers(sheet))
    years = scale(sheet, lambda number: number[2] < low + 1 and number[0] > 2000, 1)
    days = [point.taken_on.toordinal() / 365.25 for point in points]
    start = date(2012, 1, 1).toordinal() / 365.25 - 2012
    assert [float(years(x)) for x, _ in upper] == pytest.approx(
        [day - start for day in days], abs=0.05
    )


def test_work_is_thick_and_absence_thin():
    points = (
        HistoryPoint(date(2020, 1, 5), "as received", 1.0, 17.0),
        HistoryPoint(date(2021, 1, 5), "as returned", 1.1, 18.0),
        HistoryPoint(date(2022, 1, 5), "as received", 1.1, 18.0),
    )
    sheet = sheet_of(compose_history, HistoryPicture(points))
    drawn = [line for line in lines(sheet) if line.get_zorder() == 2.0]
    drawn.sort(key=lambda line: (line.get_ydata()[0] < 50, line.get_xdata()[0]))
    widths = [line.get_linewidth() for line in drawn]
    assert len(widths) == 4
    assert widths[0] > 2 * widths[1]
    assert widths[2] > 2 * widths[3]


def test_run_chart_values_read_back_and_the_ones_outside_are_ringed():
    values = (1.10, 1.12, 1.09, 1.21, 1.11)
    points = tuple(RunPoint(f"piece {at}", value) for at, value in enumerate(values))
    picture = RunChart(points, "tip, mm", 2, 1.11, 1.05, 1.17)
    sheet = sheet_of(compose_run_chart, picture)
    read = scale(sheet, left_of(14), 2)
    _, y = marks(sheet, count=5)[0]
    assert read(y) == pytest.approx(values, abs=0.004)
    ring = marks(sheet, count=1, filled=False)
    assert float(read(ring[0][1][0])) == pytest.approx(1.21, abs=0.004)
    texts = [word[0].get_text() for word in words(sheet)]
    assert "Ringed: outside the limits (1 of 5)." in texts
    assert {"limit 1.05", "limit 1.17", "centre 1.11"} <= set(texts)
