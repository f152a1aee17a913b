"""What a paper is made of: plain blocks, printed as HTML and as PDF from one description.

A look is named here with its type and size for the PDF; the paper's style sheet has a rule of the
same name for the browser. Sizes of type are points, all other lengths mm.
"""

from dataclasses import dataclass
from typing import ClassVar, Literal

Across = Literal["left", "center", "right"]


@dataclass(frozen=True, slots=True)
class Look:
    """How words are set: family, size, weight, leading, and the space around them."""

    size_pt: float
    serif: bool = False
    bold: bool = False
    italic: bool = False
    grey: bool = False
    leading: float = 1.3
    after_mm: float = 1.2
    before_mm: float = 0.0


LOOKS: dict[str, Look] = {
    "shop": Look(17.0, serif=True, bold=True, italic=True, leading=1.1, after_mm=0.4),
    "shop-small": Look(12.0, serif=True, bold=True, italic=True, leading=1.1, after_mm=0.2),
    "title": Look(13.0, serif=True, bold=True, leading=1.2, after_mm=1.0),
    "heading": Look(11.0, serif=True, bold=True, leading=1.25, before_mm=1.6, after_mm=0.6),
    "number": Look(26.0, serif=True, bold=True, leading=1.0, after_mm=0.0),
    "number-huge": Look(46.0, serif=True, bold=True, leading=1.0, after_mm=1.0),
    "words": Look(10.5, leading=1.3, after_mm=0.7),
    "name": Look(12.5, bold=True, leading=1.25, after_mm=0.6),
    "strong": Look(9.5, bold=True, after_mm=0.4),
    "plain": Look(9.5, after_mm=0.6),
    "small": Look(9.0, grey=True, leading=1.28, after_mm=0.6),
    "fine": Look(9.0, leading=1.28, after_mm=0.8),
    "line": Look(15.0, bold=True, leading=1.2, after_mm=0.6),
}


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph: an opening in bold, and the rest; at most so many lines if that is given."""

    kind: ClassVar[str] = "words"
    text: str
    look: str = "plain"
    opening: str = ""
    most_lines: int = 0
    across: Across = "left"


@dataclass(frozen=True, slots=True)
class Head:
    """The shop at the left, what the paper is about at the right, a rule below."""

    kind: ClassVar[str] = "head"
    shop: str
    lines: tuple[str, ...]
    label: str
    number: str
    small: bool = False


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands beside it, line by line; the first may be bold."""

    label: str
    lines: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Labelled lines under each other, with thin rules between."""

    kind: ClassVar[str] = "facts"
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table."""

    text: str
    bold: bool = False
    span: int = 1
    across: Across = "left"
    fine: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table; widths are percents, in steps of one. The first cell of a row heads it.

    `row_mm` gives rows a least height, to write in; `ruled` draws upright rules too.
    """

    kind: ClassVar[str] = "table"
    heads: tuple[tuple[Cell, ...], ...]
    rows: tuple[tuple[Cell, ...], ...]
    widths: tuple[int, ...]
    row_mm: float = 0.0
    ruled: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture by its file's name. One without a height fills what the page has left."""

    kind: ClassVar[str] = "picture"
    file: str
    alt: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks beside each other; widths are percents in steps of one."""

    kind: ClassVar[str] = "columns"
    columns: tuple[tuple["Block", ...], ...]
    widths: tuple[int, ...]
    gap_mm: float = 8.0


@dataclass(frozen=True, slots=True)
class Part:
    """Blocks that stay together; `half` makes them take at least half of the page."""

    kind: ClassVar[str] = "part"
    blocks: tuple["Block", ...]
    half: bool = False


@dataclass(frozen=True, slots=True)
class Sign:
    """Lines to sign on, each with its word below."""

    kind: ClassVar[str] = "sign"
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule across: thin, or dashed where the paper is cut."""

    kind: ClassVar[str] = "rule"
    words: str = ""


@dataclass(frozen=True, slots=True)
class Room:
    """Ruled lines to write on; without a number of lines, as many as the page has left."""

    kind: ClassVar[str] = "room"
    label: str
    lines: int = 0


Block = Words | Head | Facts | Table | Picture | Columns | Part | Sign | Rule | Room
