"""Pictures beside a bare matplotlib `Figure` of the same lines and words, and beside a static file.

What our drawing puts on paper is taken down once; the bare figure then draws just that, on one
`Axes`, and writes it as SVG: it knows where everything goes. Ours begins at the readings: it
fits, chooses a curve, lays the picture out so that nothing covers anything, and answers.
"""

import io
import re
from collections.abc import Callable
from typing import Any

from fastapi import FastAPI

from app.render import figures
from tests.benchmarks.asking import Asker
from tests.benchmarks.books import SMALL, application, forget
from tests.benchmarks.measuring import Row, compare, time_in_turns

READING_SET = 1
COLD_LIMIT, AGAIN_LIMIT, PREVIEW_LIMIT = 1.2, 1.5, 1.5
STATIC = "/static/laybook.css"


def run() -> list[Row]:
    """Time a picture drawn anew, one asked for again, and the preview while typing."""
    asker = Asker()
    with application(SMALL) as app:
        address = f"/readings/{READING_SET}/profile.svg"
        tag = asker.get(app, address).headers["etag"]
        bare = bare_figure(app, asker, address)
        cold = time_in_turns(
            {"ours": lambda: forget() or asker.get(app, address), "bare": bare}, times=9
        )
        again = time_in_turns(
            {
                "kept": lambda: asker.get(app, address),
                "tag": lambda: asker.get(app, address, if_none_match=tag),
                "file": lambda: asker.get(app, STATIC),
            }
        )
        form = preview_form(app, asker)
        preview = time_in_turns(
            {"ours": lambda: forget() or ask_preview(app, asker, form), "bare": bare}, times=9
        )
    asker.close()
    return [
        compare("picture, drawn anew", "a bare Figure", cold["ours"], cold["bare"], COLD_LIMIT),
        compare("picture, kept", "a static file", again["kept"], again["file"], AGAIN_LIMIT),
        compare("picture, by its tag", "a static file", again["tag"], again["file"], AGAIN_LIMIT),
        compare(
            "preview while typing, words and picture", "a bare Figure",
            preview["ours"], preview["bare"], PREVIEW_LIMIT,
        ),
    ]  # fmt: skip


def preview_form(app: FastAPI, asker: Asker) -> dict[str, str]:
    """Give the grid of a job as a browser sends it while readings are typed."""
    page = asker.get(app, "/jobs/1/readings").body.decode()
    cells = re.findall(r'name="(b\d+_(?:left|right))"', page)
    numbers = ("6", "6", "12", "12", "22", "22.5", "34", "34")
    return {**dict(zip(cells, numbers, strict=False)), "tip": "1.02", "role": "as_received"}


def ask_preview(app: FastAPI, asker: Asker, form: dict[str, str]) -> bytes:
    """Send the grid and fetch the picture its answer names, as the page's script does."""
    answer = asker.post(app, "/readings/preview?piece=1", form).body.decode()
    found = re.search(r'src=\\"(/pictures/profile.svg[^"\\]*)', answer)
    assert found is not None, answer[:500]
    return asker.get(app, found.group(1).replace("&amp;", "&")).body


def bare_figure(app: FastAPI, asker: Asker, address: str) -> Callable[[], bytes]:
    """Take down what our picture draws; give a function that draws it with matplotlib alone."""
    taken: list[Any] = []
    save = figures._save

    def take(figure: Any, kind: figures.Kind, dpi: int) -> bytes:
        taken.append(figure)
        return save(figure, kind, dpi)

    figures._save = take  # type: ignore[assignment]
    try:
        forget()
        asker.get(app, address)
    finally:
        figures._save = save
    (ours,) = taken
    lines = [
        (line.get_xdata(), line.get_ydata(), _look_of(line)) for line in ours.get_children()
        if hasattr(line, "get_xdata")
    ]  # fmt: skip
    words = [(*text.get_position(), text.get_text(), _font_of(text)) for text in ours.texts]
    size = ours.get_size_inches()

    def draw() -> bytes:
        from matplotlib import rc_context
        from matplotlib.figure import Figure

        with rc_context(figures.shop_settings()):
            figure = Figure(figsize=size)
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set_axis_off()
            axes.set_xlim(0, 25.4 * size[0])
            axes.set_ylim(0, 25.4 * size[1])
            for x, y, look in lines:
                axes.plot(x, y, **look)
            for x, y, text, look in words:
                axes.text(x, y, text, **look)
            stream = io.BytesIO()
            figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
            return stream.getvalue()

    return draw


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
