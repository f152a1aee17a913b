"""Bars beside their labels, one under the other, each with its figure at its end."""

from dataclasses import dataclass

from app.render.figures import (
    GREY,
    Sheet,
    line_height_mm,
    text_width_mm,
    wrap_text,
)
from app.render.scales import drawer

_EDGE_MM = 1.0
_BAR_MM = 4.2
_ROW_MM = 6.6
_MOST_LABEL_MM = 34.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its label, its value, and the value in words."""

    label: str
    value: float
    words: str


@dataclass(frozen=True, slots=True)
class BarPicture:
    """Bars to draw; a value below zero goes to the left of the line."""

    bars: tuple[Bar, ...]
    width_mm: float = 92.0

    @property
    def height_mm(self) -> float:
        """The height the bars take."""
        return 2 * _EDGE_MM + _ROW_MM * max(1, len(self.bars))


def compose_bars(sheet: Sheet, picture: BarPicture) -> None:
    """Draw bars on a sheet of the picture's size."""
    if not picture.bars:
        sheet.text(_EDGE_MM, sheet.height_mm / 2, "nothing yet", color=GREY, up="center")
        return
    labels = [(wrap_text(bar.label, _MOST_LABEL_MM, 1) or [""])[0] for bar in picture.bars]
    start = _EDGE_MM + max(text_width_mm(label) for label in labels) + 2.0
    room = max(text_width_mm(bar.words) for bar in picture.bars) + 1.5
    low = min(0.0, *(bar.value for bar in picture.bars))
    high = max(0.0, *(bar.value for bar in picture.bars))
    wide = sheet.width_mm - start - room - _EDGE_MM
    per_value = wide / (high - low) if high > low else 0.0
    zero = start - low * per_value
    for row, (bar, label) in enumerate(zip(picture.bars, labels, strict=True)):
        middle = sheet.height_mm - _EDGE_MM - _ROW_MM * (row + 0.5)
        sheet.text(start - 2.0, middle, label, across="right", up="center_baseline")
        end = zero + bar.value * per_value
        left, right = min(zero, end), max(zero, end)
        if right > left:
            sheet.box(left, middle - _BAR_MM / 2, right - left, _BAR_MM, GREY)
        sheet.text(max(right, zero) + 1.2, middle, bar.words, up="center_baseline")
    ends = ((zero, _EDGE_MM), (zero, sheet.height_mm - _EDGE_MM))
    sheet.strokes([ends], color=GREY, width_pt=0.6)
    assert line_height_mm() < _ROW_MM  # noqa: S101 - words of two rows never meet


draw_bars = drawer(compose_bars)
