"""The lines of a facing as values to draw, and the code in which every picture draws them.

Left rail solid with filled marks, right rail dashed with open marks; before thin and grey, after
thick and ink, target dotted, earlier years lighter. Weight, dashes and marks carry it all, so
that a black-and-white print tells the same; colour only helps.
"""

from dataclasses import dataclass, replace
from typing import Literal

from app.core.values.readings import BladeStop
from app.render.figures import ACCENT, GREY, INK, LineLook, clean_text, mix_colors, wrap_text

Rail = Literal["left", "right", "mean"]
State = Literal["before", "after", "now", "earlier", "target"]


@dataclass(frozen=True, slots=True)
class ProfileLine:
    """One rail of one reading set, or a target: its readings, and the curve to draw (mm).

    `name` is the set's own ("before", "target", or none); the rail's is added. The curve runs
    where the readings bear it out; `pointing_s_mm` and `pointing_gap_mm` go on from there to
    where it points, and are drawn thin. `free` says that no curve was chosen and the line only
    joins the readings. `age` (0 new, 1 oldest) is for the state "earlier".
    """

    name: str
    stops: tuple[BladeStop, ...]
    tip_opening_mm: float | None
    curve_s_mm: tuple[float, ...]
    curve_gap_mm: tuple[float, ...]
    rail: Rail | None
    state: State
    pointing_s_mm: tuple[float, ...] = ()
    pointing_gap_mm: tuple[float, ...] = ()
    free: bool = False
    age: float = 0.0

    @property
    def drawn(self) -> bool:
        """Tell if there is a curve to draw."""
        return len(self.curve_s_mm) > 1


@dataclass(frozen=True, slots=True)
class BladeLevel:
    """A blade's thickness, and how the shop writes it."""

    gap_mm: float
    label: str


STATE_LOOKS: dict[State, LineLook] = {
    "before": LineLook(color=GREY, width_pt=0.8, mark_pt=4.2),
    "after": LineLook(color=INK, width_pt=1.7, mark_pt=6.2),
    "now": LineLook(color=INK, width_pt=1.7, mark_pt=6.2),
    "earlier": LineLook(color=GREY, width_pt=1.0, mark_pt=3.6),
    "target": LineLook(color=ACCENT, width_pt=1.5, mark_pt=4.4, dashes=(1.0, 1.8)),
}
# Dashes are counted in line widths: a thin line needs more of them to look the same.
_DASHES: dict[Rail, tuple[float, float]] = {"right": (3.6, 2.0), "mean": (9.0, 1.6)}
_THIN_DASHES: dict[Rail, tuple[float, float]] = {"right": (5.4, 3.0), "mean": (13.0, 2.4)}
_MARKS: dict[Rail | None, str] = {"left": "o", "right": "o", "mean": "s", None: "o"}
# A ring is drawn wider than a dot, so that a dot on the same spot leaves it seen.
RING_PT = 3.0
# The oldest line must still be dark enough not to vanish in a black-and-white print.
_OLDEST = "#7b7569"


def look_of(line: ProfileLine) -> LineLook:
    """Say how one line is drawn: its state gives weight and colour, its rail dashes and marks."""
    look = STATE_LOOKS[line.state]
    if line.state == "earlier":
        color = mix_colors(GREY, _OLDEST, line.age)
        look = replace(look, color=color, width_pt=look.width_pt - 0.4 * line.age)
    dashes = look.dashes
    if line.rail is not None and dashes is None:
        dashes = (_DASHES if look.width_pt > 1.2 else _THIN_DASHES).get(line.rail)
    right = line.rail == "right"
    return replace(
        look,
        dashes=dashes,
        mark=_MARKS[line.rail],
        mark_pt=look.mark_pt + RING_PT if right else look.mark_pt,
        mark_open=right,
    )


def rail_words(line: ProfileLine, alike: bool = False) -> str:
    """Write what is added to a line's name to say which rail it is."""
    if line.rail is None:
        return ""
    words = "left and right alike" if alike else line.rail
    return f", {words}" if clean_text(line.name) else words


def name_of(line: ProfileLine, alike: bool = False) -> str:
    """Write a line's name with its rail."""
    return clean_text(line.name) + rail_words(line, alike)


def name_lines(line: ProfileLine, alike: bool, width_mm: float, most_lines: int) -> list[str]:
    """Break a name into lines; a name that must be cut keeps its rail."""
    ending = "…" + rail_words(line, alike)
    return wrap_text(name_of(line, alike), width_mm, most_lines, ending=ending)
