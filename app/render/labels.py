"""Names beside lines: where to write each, so that none is clipped, struck through or mistaken.

Rails of one facing nearly coincide, so a name can't simply stand at its line's end. Each name
gets many candidate places along its line, above or below it; those that leave the paper or meet
a line, a mark or another name are struck out; of the rest the one with the shortest, least
crossed leader wins. Places are in mm on the sheet. Pure geometry, no drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[np.float64]]

_STEP_MM = 2.5  # lines are tested as rows of points this far apart; a name is taller
_CLEAR_MM = 1.2  # kept free around a name
_LEADER_GAP_MM = 0.7  # between a leader and its name
_ANCHORS = 16
_DISTANCES_MM = (3.0, 5.0, 8.0, 12.0, 17.0, 24.0, 34.0)
# Directions from the line to its name; a positive first number puts the name to the right.
_DIRECTIONS = ((0.7, 0.71), (0.4, 0.92), (0.94, 0.34), (-0.7, -0.71), (-0.4, -0.92), (-0.94, -0.34),
               (0.7, -0.71), (-0.7, 0.71))  # fmt: skip

# What a candidate place costs, in mm of leader.
_CROSSED_LINE = 3.0
_STRUCK_LEVEL = 4.0
_OFF_MIDDLE = 9.0
_HIT = 200.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet, in mm."""

    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True, slots=True)
class Label:
    """A name to be placed: its size, and its line as rows of x and y in mm."""

    width_mm: float
    height_mm: float
    line: Array


@dataclass(frozen=True, slots=True)
class Place:
    """Where a name goes: its box, and the leader from the line to it."""

    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]]
    clear: bool = True  # False: there was no room, and it meets something

    @property
    def rightward(self) -> bool:
        """Tell if the name stands to the right of its leader."""
        return self.leader[1][0] <= self.box.left


@dataclass(frozen=True, slots=True)
class _Taken:
    """What a name must mind.

    Lines its leader had better not cross, lines it may not cross, points to keep clear of,
    heights of level lines, and the names already placed.
    """

    others: Sequence[Array]
    barred: Sequence[Array]
    blocked: Array
    levels: Sequence[float]
    placed: Sequence[Place]


def place_labels(
    labels: Sequence[Label],
    area: Box,
    marks: Array,
    levels: Sequence[float],
    track: Array | None = None,
    reach_mm: float | None = None,
) -> list[Place]:
    """Place all names within `area`, clear of lines, of `marks` and of each other.

    `marks` are points (rows of x and y); `levels` are heights of faint level lines, which a
    name had better not stand on; `track` is a further line that neither names nor leaders cross;
    no name is placed further than `reach_mm` from its line. Names are placed in the order given;
    with a reach, placing stops at the first that finds no room.
    """
    lines = [resample(label.line) for label in labels]
    further = [track] if track is not None and len(track) else []
    rows = [*lines, *(resample(line) for line in further), marks.reshape(-1, 2)]
    blocked = np.concatenate(rows)
    placed: list[Place] = []
    for index, label in enumerate(labels):
        others = [line for other, line in enumerate(lines) if other != index]
        taken = _Taken(others, further, blocked, levels, placed)
        best = _cheapest(*_candidates(label, lines[index], area, reach_mm), taken)
        if not best.clear and reach_mm is not None:
            break
        if not best.clear:
            best = _cheapest(*_anywhere(label, lines[index], area), taken)
        placed.append(best)
    return placed


def resample(line: Array) -> Array:
    """A line as points an even step apart, ends included."""
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    if along[-1] == 0.0:
        return line[:1]
    steps = np.linspace(0.0, along[-1], max(2, int(along[-1] / _STEP_MM) + 1))
    return np.column_stack([np.interp(steps, along, line[:, axis]) for axis in (0, 1)])


def _cheapest(anchors: Array, ends: Array, boxes: Array, costs: Array, taken: _Taken) -> Place:
    costs = costs + _HIT * _count_inside(boxes, taken.blocked, _CLEAR_MM)
    for level in taken.levels:
        costs += _STRUCK_LEVEL * ((boxes[:, 1] - 0.3 < level) & (level < boxes[:, 3] + 0.3))
    for place in taken.placed:
        costs += 5 * _HIT * _overlaps(boxes, place.box)
        start, end = np.array(place.leader[0]), np.array(place.leader[1])
        track = start + np.linspace(0, 1, 12)[:, None] * (end - start)
        costs += _HIT * (_count_inside(boxes, track, 0.5) > 0)
        costs += _HIT * _crossings(anchors, ends, np.array([start, end]))
        costs += _HIT * _tracks_inside(anchors, ends, place.box)
    # Crossings are dear to count: only the few that could still win are looked at.
    few = np.argsort(costs, kind="stable")[:48]
    for other in taken.others:
        costs[few] += _CROSSED_LINE * _crossings(anchors[few], ends[few], other)
    for line in taken.barred:
        costs[few] += _HIT * _crossings(anchors[few], ends[few], line)
    best = few[int(np.argmin(costs[few]))]
    (ax, ay), (ex, ey) = anchors[best].tolist(), ends[best].tolist()
    return Place(Box(*boxes[best].tolist()), ((ax, ay), (ex, ey)), bool(costs[best] < _HIT))


def _anywhere(label: Label, line: Array, area: Box) -> tuple[Array, Array, Array, Array]:
    """Places all over the area, for a name that found no room near its line."""
    across = np.arange(area.left, max(area.left, area.right - label.width_mm) + 0.01, 4.0)
    up = np.arange(area.bottom, max(area.bottom, area.top - label.height_mm) + 0.01, 2.0)
    left, bottom = (grid.ravel() for grid in np.meshgrid(across, up))
    boxes = np.column_stack([left, bottom, left + label.width_mm, bottom + label.height_mm])
    middle = bottom + label.height_mm / 2
    gap = _LEADER_GAP_MM
    ends = np.concatenate(
        [
            np.column_stack([boxes[:, 0] - gap, middle]),
            np.column_stack([boxes[:, 2] + gap, middle]),
        ]
    )
    boxes = np.concatenate([boxes, boxes])
    inner = line[len(line) // 16 : -max(1, len(line) // 8)] if len(line) > 4 else line
    apart = np.hypot(ends[:, None, 0] - inner[:, 0], ends[:, None, 1] - inner[:, 1])
    nearest = apart.argmin(axis=1)
    # A leader must not run under its own name.
    runs_under = np.where(
        np.arange(len(ends)) < len(ends) // 2,
        inner[nearest, 0] > boxes[:, 0],
        inner[nearest, 0] < boxes[:, 2],
    )
    return inner[nearest], ends, boxes, apart.min(axis=1) + _HIT * runs_under


def _candidates(
    label: Label, line: Array, area: Box, reach_mm: float | None
) -> tuple[Array, Array, Array, Array]:
    """All places for a name: anchors, leader ends, boxes and what each costs by itself."""
    share = np.linspace(0.06, 0.86, min(_ANCHORS, len(line)))
    on_line = line[np.round(share * (len(line) - 1)).astype(int)]
    directions = np.array(_DIRECTIONS)
    distances = np.array([d for d in _DISTANCES_MM if reach_mm is None or d <= reach_mm])
    shape = (len(share), len(directions), len(distances))
    anchors = np.broadcast_to(on_line[:, None, None, :], (*shape, 2)).reshape(-1, 2)
    offsets = directions[:, None, :] * distances[None, :, None]
    ends = (on_line[:, None, None, :] + offsets[None]).reshape(-1, 2)
    rightward = np.broadcast_to((directions[:, 0] > 0)[None, :, None], shape).ravel()
    left = np.where(
        rightward, ends[:, 0] + _LEADER_GAP_MM, ends[:, 0] - _LEADER_GAP_MM - label.width_mm
    )
    bottom = ends[:, 1] - label.height_mm / 2
    boxes = np.column_stack([left, bottom, left + label.width_mm, bottom + label.height_mm])
    outside = (
        np.maximum(area.left - boxes[:, 0], 0)
        + np.maximum(area.bottom - boxes[:, 1], 0)
        + np.maximum(boxes[:, 2] - area.right, 0)
        + np.maximum(boxes[:, 3] - area.top, 0)
    )
    costs = np.broadcast_to(distances[None, None, :], shape).ravel() + 10 * _HIT * outside
    costs = costs + np.broadcast_to(_OFF_MIDDLE * np.abs(share - 0.4)[:, None, None], shape).ravel()
    kept = outside == 0.0 if np.any(outside == 0.0) else slice(None)
    return anchors[kept], ends[kept], boxes[kept], costs[kept]


def _count_inside(boxes: Array, points: Array, clear_mm: float) -> Array:
    """Count the points in each box widened by `clear_mm`."""
    x, y = points[None, :, 0], points[None, :, 1]
    inside = (boxes[:, :1] - clear_mm < x) & (x < boxes[:, 2:3] + clear_mm)
    inside &= (boxes[:, 1:2] - clear_mm < y) & (y < boxes[:, 3:] + clear_mm)
    counts: Array = np.count_nonzero(inside, axis=1).astype(float)
    return counts


def _overlaps(boxes: Array, box: Box) -> Array:
    """Tell which boxes come too near to one box."""
    near = (boxes[:, 0] < box.right + _CLEAR_MM) & (box.left - _CLEAR_MM < boxes[:, 2])
    near &= (boxes[:, 1] < box.top + _CLEAR_MM / 2) & (box.bottom - _CLEAR_MM / 2 < boxes[:, 3])
    overlaps: Array = near.astype(float)
    return overlaps


def _tracks_inside(starts: Array, ends: Array, box: Box) -> Array:
    """Tell which leaders pass through a box."""
    share = np.linspace(0, 1, 12)[None, :, None]
    tracks = starts[:, None, :] + share * (ends - starts)[:, None, :]
    x, y = tracks[..., 0], tracks[..., 1]
    inside = (box.left - 0.5 < x) & (x < box.right + 0.5)
    inside &= (box.bottom - 0.5 < y) & (y < box.top + 0.5)
    shares: Array = inside.any(axis=1).astype(float)
    return shares


def _crossings(starts: Array, ends: Array, line: Array) -> Array:
    """Count how often each straight leader crosses a line."""
    a, b = starts[:, None, :], ends[:, None, :]
    c, d = line[None, :-1, :], line[None, 1:, :]
    across = (_side(a, b, c) * _side(a, b, d) < 0) & (_side(c, d, a) * _side(c, d, b) < 0)
    counts: Array = across.sum(axis=1).astype(float)
    return counts


def _side(a: Array, b: Array, p: Array) -> Array:
    """On which side of the line from a to b a point lies (sign of the cross product)."""
    first, second = b - a, p - a
    cross: Array = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    return cross


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Move values on one axis as little as needed to stand `apart`, within `low` and `high`.

    They keep their order. Where there is no room for all, they share what there is evenly.
    """
    if not wanted:
        return []
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    room = high - low
    apart = min(apart, room / (len(wanted) - 1)) if len(wanted) > 1 else apart
    # Neighbours that would touch form a block, which sits at the mean of where they want to be.
    blocks: list[tuple[float, int]] = []
    for index in order:
        start, count = wanted[index], 1
        while blocks and start - blocks[-1][0] < apart * blocks[-1][1]:
            before, members = blocks.pop()
            start = (before * members + (start - apart * members) * count) / (members + count)
            count += members
        blocks.append((start, count))
    flat = [start + apart * step for start, count in blocks for step in range(count)]
    flat = [max(value, low + apart * rank) for rank, value in enumerate(flat)]
    last = len(flat) - 1
    flat = [min(value, high - apart * (last - rank)) for rank, value in enumerate(flat)]
    moved = [0.0] * len(wanted)
    for rank, index in enumerate(order):
        moved[index] = flat[rank]
    return moved
