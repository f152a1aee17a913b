"""A picture is a sheet of paper measured in millimetres.

Every picture is composed on a `Sheet`: lines, marks and words at places in mm from the sheet's
lower left corner. `Plot` is a window on it that turns measured values into such places. So a
margin is a length on paper, nothing moves by itself, and the same data gives the same bytes.

matplotlib is loaded at the first drawing, not before. It is not thread-safe: all drawing goes
through `draw_sheet`, which holds one lock.
"""

import io
import math
import threading
import unicodedata
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, Literal, cast

from app.packed import folder_of

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties
    from matplotlib.transforms import Transform

Kind = Literal["svg", "png"]
Points = Sequence[float]

INK = "#1f1b16"
GREY = "#5d574e"
FAINT = "#857d70"
ACCENT = "#9a3412"
PAPER = "#ffffff"

TEXT_PT = 10.0
LINE_HEIGHT = 1.2
ASCENT, CAPITAL = 0.75, 0.66  # of letters above the baseline, in ems
MM_PER_PT = 25.4 / 72

_LOCK = threading.Lock()
_OUR_SETTINGS = {
    "svg.hashsalt": "laybook",
    "svg.fonttype": "path",
    "text.parse_math": False,
    "text.hinting": "none",  # so that a PNG breaks its lines where the SVG does
    "font.family": ["DejaVu Sans"],
}
# A maker's own matplotlibrc must not change the look of the shop's papers.
_SETTINGS_KEPT = ("figure.", "font.", "lines.", "patch.", "path.", "savefig.", "svg.", "text.")


@dataclass(frozen=True, slots=True)
class LineLook:
    """How a line and its marks are drawn; widths and sizes in points, dashes in line widths.

    `phase` says how far into its dashes a line starts, in line widths too.
    """

    color: str = INK
    width_pt: float = 1.0
    dashes: tuple[float, ...] | None = None
    phase: float = 0.0
    mark: str | None = None
    mark_pt: float = 5.0
    mark_open: bool = False


def draw_sheet(
    width_mm: float,
    height_mm: float,
    compose: "Callable[[Sheet], object]",
    kind: Kind = "svg",
    dpi: int = 200,
) -> bytes:
    """Compose a sheet and give it as SVG or PNG; `dpi` is for PNG only."""
    from matplotlib import rc_context

    with _LOCK, rc_context(cast(Any, shop_settings())), warnings.catch_warnings():
        # A name may hold a sign the font lacks: it is drawn as a box, and nobody can do more.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        sheet = Sheet(width_mm, height_mm)
        compose(sheet)
        stream = io.BytesIO()
        # what would differ from one drawing to the next is left out
        unsaid = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        sheet.figure.savefig(stream, format=kind, dpi=dpi, facecolor=PAPER, metadata=unsaid)
        return stream.getvalue()


@cache
def shop_settings() -> dict[str, Any]:
    """Matplotlib's settings while drawing: its own defaults, and ours."""
    from matplotlib import rcParamsDefault

    kept = {key: rcParamsDefault[key] for key in rcParamsDefault if key.startswith(_SETTINGS_KEPT)}
    return kept | _OUR_SETTINGS


class Sheet:
    """Paper to draw on: every place is in mm from the lower left corner."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        from matplotlib.figure import Figure
        from matplotlib.transforms import Affine2D

        self.width_mm = width_mm
        self.height_mm = height_mm
        self.figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), facecolor="none")
        self._mm: Transform = Affine2D().scale(1 / 25.4) + self.figure.dpi_scale_trans

    def line(self, x_mm: Points, y_mm: Points, look: LineLook, layer: float = 2) -> None:
        """Draw a line through the points, without its marks."""
        from matplotlib.lines import Line2D

        line = Line2D(
            x_mm,
            y_mm,
            color=look.color,
            linewidth=look.width_pt,
            linestyle=(look.phase, look.dashes) if look.dashes else "-",
            solid_capstyle="round",
            dash_capstyle="butt",
            transform=self._mm,
            zorder=layer,
        )
        self.figure.add_artist(line)

    def marks(self, x_mm: Points, y_mm: Points, look: LineLook, layer: float = 3) -> None:
        """Draw the look's mark at each point."""
        from matplotlib.lines import Line2D

        marks = Line2D(
            x_mm,
            y_mm,
            linestyle="none",
            marker=look.mark or "o",
            markersize=look.mark_pt,
            markerfacecolor=PAPER if look.mark_open else look.color,
            markeredgecolor=look.color,
            markeredgewidth=min(max(0.8, look.width_pt), 1.3) if look.mark_open else 0.0,
            transform=self._mm,
            zorder=layer,
        )
        self.figure.add_artist(marks)

    def box(
        self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, color: str = INK
    ) -> None:
        """Fill a box, given by its lower left corner."""
        from matplotlib.patches import Rectangle

        box = Rectangle(
            (x_mm, y_mm), width_mm, height_mm, facecolor=color, linewidth=0, zorder=2,
            transform=self._mm,
        )  # fmt: skip
        self.figure.add_artist(box)

    def strokes(
        self,
        strokes: Iterable[tuple[tuple[float, float], tuple[float, float]]],
        color: str = FAINT,
        width_pt: float = 0.5,
        layer: float = 1,
    ) -> None:
        """Draw separate straight strokes of one look."""
        gap = (float("nan"), float("nan"))
        points = [point for start, end in strokes for point in (start, end, gap)]
        x_mm, y_mm = zip(*points, strict=True) if points else ((), ())
        self.line(x_mm, y_mm, LineLook(color=color, width_pt=width_pt), layer)

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        color: str = INK,
        points: float = TEXT_PT,
        bold: bool = False,
        across: Literal["left", "center", "right"] = "left",
        up: Literal["center", "top", "baseline"] = "baseline",
    ) -> None:
        """Write words literally, whatever signs they hold, a row under another at each new line.

        Rows are placed by their baselines: fonts do not agree on how high a line is.
        """
        rows, em = text.split("\n"), points * MM_PER_PT
        more = (len(rows) - 1) * LINE_HEIGHT * em
        down = {"baseline": 0.0, "top": ASCENT * em, "center": (CAPITAL * em - more) / 2}[up]
        for place, row in enumerate(rows):
            self.figure.text(
                x_mm,
                y_mm - down - place * LINE_HEIGHT * em,
                row,
                transform=self._mm,
                color=color,
                fontproperties=_font(row, points, bold),
                horizontalalignment=across,
                verticalalignment="baseline",
                parse_math=False,
                zorder=5,
            )


@dataclass(frozen=True, slots=True)
class Plot:
    """A window on a sheet: its place in mm, and the values at its edges.

    With `root` the scale upward is that of the square root (and of its mirror below zero).
    """

    left_mm: float
    bottom_mm: float
    width_mm: float
    height_mm: float
    x_low: float
    x_high: float
    y_low: float
    y_high: float
    root: bool = False

    @property
    def right_mm(self) -> float:
        """The right edge on the sheet."""
        return self.left_mm + self.width_mm

    @property
    def top_mm(self) -> float:
        """The upper edge on the sheet."""
        return self.bottom_mm + self.height_mm

    def x(self, value: float) -> float:
        """The place across the sheet, in mm, of a value."""
        share = (value - self.x_low) / (self.x_high - self.x_low)
        return self.left_mm + share * self.width_mm

    def y(self, value: float) -> float:
        """The place up the sheet, in mm, of a value."""
        low, high = self.y_low, self.y_high
        if self.root:
            low, high, value = _root(low), _root(high), _root(value)
        share = (value - low) / (high - low)
        return self.bottom_mm + share * self.height_mm

    def place(self, x: Points, y: Points) -> tuple[list[float], list[float]]:
        """The places on the sheet of a row of points."""
        return [self.x(value) for value in x], [self.y(value) for value in y]


def _root(value: float) -> float:
    return math.copysign(math.sqrt(abs(value)), value)


def mix_colors(color: str, other: str, share: float) -> str:
    """Mix two colours (#rrggbb): `share` 0 gives the first, 1 the second."""
    pairs = ((int(color[at : at + 2], 16), int(other[at : at + 2], 16)) for at in (1, 3, 5))
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def nice_ticks(low: float, high: float, most: int) -> list[float]:
    """Round values between `low` and `high`, at most `most` steps apart."""
    from matplotlib.ticker import MaxNLocator

    values = MaxNLocator(nbins=max(1, most), steps=[1, 2, 5, 10]).tick_values(low, high)
    slack = 1e-9 * max(abs(low), abs(high), 1e-12)
    return [float(value) for value in values if low - slack <= value <= high + slack]


def clean_text(text: str) -> str:
    """Make a name safe to draw: no control signs, no halves of signs, single spaces.

    Such signs cannot be drawn, and in an SVG they would make the whole picture unreadable.
    """
    unsafe = {"Cc", "Cs", "Cn", "Zl", "Zp"}
    kept = "".join(" " if unicodedata.category(sign) in unsafe else sign for sign in text)
    return " ".join(kept.split())


def wrap_text(
    text: str,
    width_mm: float,
    most_lines: int,
    points: float = TEXT_PT,
    bold: bool = False,
    ending: str = "…",
) -> list[str]:
    """Break a text into lines no wider than `width_mm`; one that must be cut gets the ending."""
    lines: list[str] = []
    rest = clean_text(text)
    while rest:
        cut = _fitting(rest, width_mm, points, bold)
        if cut >= len(rest):
            lines.append(rest)
            break
        if len(lines) == most_lines - 1:
            lines.append(rest[: _fitting(rest, width_mm, points, bold, ending)].rstrip() + ending)
            break
        space = rest.rfind(" ", 0, cut + 1)
        cut = space if space > 0 else cut
        lines.append(rest[:cut].rstrip())
        rest = rest[cut:].lstrip()
    return lines


def _fitting(text: str, width_mm: float, points: float, bold: bool, ending: str = "") -> int:
    """Count the signs of `text` that fit into the width; at least one."""
    if text_width_mm(text + ending, points, bold) <= width_mm:
        return len(text)
    low, high = 1, len(text)
    while high - low > 1:
        middle = (low + high) // 2
        fits = text_width_mm(text[:middle] + ending, points, bold) <= width_mm
        low, high = (middle, high) if fits else (low, middle)
    return low


@lru_cache(maxsize=4096)
def text_width_mm(text: str, points: float = TEXT_PT, bold: bool = False) -> float:
    """Measure one line of text on paper: signs side by side, which kerning only draws nearer."""
    file = _file_for(text, bold)
    return points * MM_PER_PT * sum(_width_of(sign, file) for sign in text)


@cache
def _width_of(sign: str, file: str) -> float:
    """Measure a sign of a font one point high."""
    from matplotlib.font_manager import get_font
    from matplotlib.ft2font import LoadFlags

    font = get_font(file)
    font.set_size(100.0, 72.0)
    glyph = font.load_glyph(font.get_char_index(ord(sign)), LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536 / 100


def line_height_mm(points: float = TEXT_PT) -> float:
    """The distance on paper from one line of text to the next."""
    return points * LINE_HEIGHT * MM_PER_PT


def _font(text: str, points: float, bold: bool) -> "FontProperties":
    """Name a font by its file: looking it up for every word costs a tenth of a drawing."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=_file_for(text, bold), size=points)


def _file_for(text: str, bold: bool) -> str:
    """The papers' font, or where it lacks a sign of the text, matplotlib's own."""
    file, signs = _our_font(bold)
    return file if signs.issuperset(map(ord, text)) else _spare_font(bold)


@cache
def _our_font(bold: bool) -> tuple[str, frozenset[int]]:
    from matplotlib.font_manager import get_font

    name = f"SourceSans3-{'Semibold' if bold else 'Regular'}.otf"
    file = str(folder_of("static") / "fonts" / name)
    return file, frozenset(get_font(file).get_charmap())


@cache
def _spare_font(bold: bool) -> str:
    from matplotlib.font_manager import FontProperties, findfont

    return findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal"))
