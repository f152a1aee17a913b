"""Names beside lines: apart from each other, inside their area."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.render.labels import Box, Label, place_labels, resample, spread

heights = st.lists(st.floats(-50, 150), max_size=12)


@settings(max_examples=200, deadline=None)
@given(heights)
def test_spread_keeps_order_distance_and_limits(wanted):
    moved = spread(wanted, 4.0, 0.0, 100.0)
    assert len(moved) == len(wanted)
    ranked = [moved[index] for index in np.argsort(wanted, kind="stable")]
    assert all(later - earlier >= 4.0 - 1e-6 for earlier, later in pairwise(ranked))
    assert all(-1e-6 <= place <= 100.0 + 1e-6 for place in moved)


def test_spread_leaves_alone_what_already_stands_apart():
    assert spread([30.0, 10.0, 20.0], 4.0, 0.0, 100.0) == [30.0, 10.0, 20.0]


def test_spread_moves_a_close_pair_by_the_same_amount():
    assert spread([50.0, 51.0], 4.0, 0.0, 100.0) == [48.5, 52.5]


def test_spread_shares_too_little_room_evenly():
    assert spread([5.0, 5.0, 5.0], 4.0, 0.0, 4.0) == pytest.approx([0.0, 2.0, 4.0])


@pytest.mark.parametrize("count", [1, 2, 4, 6, 8])
def test_names_of_coinciding_lines_are_placed_apart_and_inside(count):
    across = np.linspace(0, 120, 60)
    line = np.column_stack([across, 60 * (1 - across / 120) ** 2])
    labels = [Label(28.0, 4.0, line + np.array([0.0, 0.3 * index])) for index in range(count)]
    area = Box(0.0, 0.0, 125.0, 66.0)
    boxes = [place.box for place in place_labels(labels, area, np.empty((0, 2)), [])]
    for index, box in enumerate(boxes):
        assert min(box.left, box.bottom, 125 - box.right, 66 - box.top) >= 0
        for other in boxes[:index]:
            apart = box.left >= other.right or other.left >= box.right
            assert apart or box.bottom >= other.top or other.bottom >= box.top


def test_a_leader_starts_on_its_own_line():
    line = np.column_stack([np.linspace(0, 100, 50), np.linspace(50, 0, 50)])
    place = place_labels([Label(20.0, 4.0, line)], Box(0, 0, 100, 55), np.empty((0, 2)), [])[0]
    x, y = place.leader[0]
    assert y == pytest.approx(50 - x / 2)


def test_a_line_of_one_point_is_left_as_it_is():
    assert resample(np.array([[3.0, 4.0], [3.0, 4.0]])).tolist() == [[3.0, 4.0]]
