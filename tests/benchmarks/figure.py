"""A bare matplotlib `Figure` with the lines and words of one of our drawings, on one `Axes`.

What our drawing puts on paper is taken down once; the bare figure knows where everything goes.
"""

import io
from dataclasses import dataclass
from typing import Any

from matplotlib import rc_context
from matplotlib.figure import Figure

from app.render import figures


@dataclass(frozen=True, slots=True)
class BareFigure:
    """Size in inches; lines as x, y and looks; words as x, y, text and looks; places in mm."""

    size: tuple[float, float]
    lines: list[tuple[Any, Any, dict[str, Any]]]
    words: list[tuple[float, float, str, dict[str, Any]]]

    def draw(self) -> bytes:
        """Draw it with matplotlib alone; gives SVG."""
        with rc_context(figures.shop_settings()):
            figure = Figure(figsize=self.size)
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set_axis_off()
            axes.set_xlim(0, 25.4 * self.size[0])
            axes.set_ylim(0, 25.4 * self.size[1])
            for x, y, look in self.lines:
                axes.plot(x, y, **look)
            for x, y, text, look in self.words:
                axes.text(x, y, text, **look)
            stream = io.BytesIO()
            figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
            return stream.getvalue()


def take_down(draw: Any) -> BareFigure:
    """Call what draws one picture of ours, and take down what it drew."""
    taken: list[Any] = []
    save = Figure.savefig

    def take(figure: Any, *given: Any, **named: Any) -> None:
        taken.append(figure)
        save(figure, *given, **named)

    Figure.savefig = take  # type: ignore[method-assign]
    try:
        draw()
    finally:
        Figure.savefig = save  # type: ignore[method-assign]
    (ours,) = taken
    width, height = ours.get_size_inches()
    return BareFigure(
        (float(width), float(height)),
        [
            (line.get_xdata(), line.get_ydata(), _look_of(line))
            for line in ours.get_children()
            if hasattr(line, "get_xdata")
        ],
        [(*text.get_position(), text.get_text(), _font_of(text)) for text in ours.texts],
    )


def _look_of(line: Any) -> dict[str, Any]:
    return {
        "color": line.get_color(), "linewidth": line.get_linewidth(),
        "linestyle": line.get_linestyle(), "marker": line.get_marker(),
        "markersize": line.get_markersize(), "markerfacecolor": line.get_markerfacecolor(),
    }  # fmt: skip


def _font_of(text: Any) -> dict[str, Any]:
    return {
        "color": text.get_color(), "fontproperties": text.get_fontproperties(),
        "ha": text.get_horizontalalignment(), "va": text.get_verticalalignment(),
    }  # fmt: skip
