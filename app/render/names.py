"""Writes each line's name beside it, with a sample of the line at the leader's end."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.render.figures import (
    GREY,
    MM_PER_PT,
    LineLook,
    Points,
    Sheet,
    line_height_mm,
    text_width_mm,
)
from app.render.labels import Array, Box, Label, Place, place_labels
from app.render.looks import RING_PT

_SAMPLE_MM = 10.0
_SAMPLE_GAP_MM = 1.2


@dataclass(frozen=True, slots=True)
class NamedLine:
    """A line to be named: its place on the sheet (mm), its look, and its words.

    `words` breaks the name into at most so many lines no wider than so many mm. `ring` says
    that the sample bears a ring and a dot, for two lines that lie on each other.
    """

    x_mm: Points
    y_mm: Points
    look: LineLook
    words: Callable[[float, int], list[str]]
    ring: bool = False


def write_names(
    sheet: Sheet,
    area: Box,
    named: Sequence[NamedLine],
    marks: Sequence[tuple[float, float]] = (),
    levels: Sequence[float] = (),
) -> list[Box]:
    """Name all lines within `area`, clear of `marks` (mm); give the boxes taken.

    Long names are cut shorter until there is room for all. `levels` are heights of faint lines.
    """
    if not named:
        return []
    curves = [np.column_stack([line.x_mm, line.y_mm]) for line in named]
    points = np.array(marks, dtype=float).reshape(-1, 2)
    widest = min(46.0, (area.right - area.left) * 0.5)
    for most_lines in (3, 2, 1):
        texts = [line.words(widest, most_lines) for line in named]
        labels = [_label(text, curve) for text, curve in zip(texts, curves, strict=True)]
        places = place_labels(labels, area, points, levels)
        if all(place.clear for place in places):
            break
    for line, text, place in zip(named, texts, places, strict=True):
        _write_name(sheet, line, text, place)
    return [place.box for place in places]


def _label(text: list[str], curve: Array) -> Label:
    width = _SAMPLE_MM + _SAMPLE_GAP_MM + max((text_width_mm(line) for line in text), default=0.0)
    return Label(width, line_height_mm() * max(1, len(text)), curve)


def _write_name(sheet: Sheet, line: NamedLine, text: list[str], place: Place) -> None:
    sheet.strokes([place.leader], color=GREY, width_pt=0.45, layer=1.5)
    middle = (place.box.bottom + place.box.top) / 2
    rightward = place.rightward
    left = place.box.left if rightward else place.box.right - _SAMPLE_MM
    _draw_sample(sheet, line, left, middle)
    sheet.text(
        left + _SAMPLE_MM + _SAMPLE_GAP_MM if rightward else left - _SAMPLE_GAP_MM,
        middle,
        "\n".join(text),
        color=line.look.color,
        across="left" if rightward else "right",
        up="center",
    )


def _draw_sample(sheet: Sheet, line: NamedLine, left: float, middle: float) -> None:
    """Draw a piece of the line before its name, so that a close pair can't be mistaken."""
    look = line.look
    if look.dashes and look.mark:
        # The sample's middle is the middle of a dash, so that its two ends look alike.
        half = _SAMPLE_MM / 2 / MM_PER_PT / look.width_pt
        look = replace(look, phase=(look.dashes[0] / 2 - half) % sum(look.dashes))
    sheet.line([left, left + _SAMPLE_MM], [middle, middle], look)
    if not look.mark:
        return
    centre = left + _SAMPLE_MM / 2
    sheet.marks([centre], [middle], look, 3.0 if look.mark_open else 3.5)
    if line.ring:
        ring = replace(look, mark_pt=look.mark_pt + RING_PT, mark_open=True)
        sheet.marks([centre], [middle], ring, 3.0)
