"""Sets a paper's blocks on pages: words broken into lines, each with its place in mm.

What comes out is a list of marks for each page, measured from its upper left corner: words, rules
and pictures. The PDF is drawn from them, and the height a page has left for its picture is found
from them, so that neither depends on a browser's own fonts.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from app.core.jobs.slips import Page
from app.render.blocks import (
    LOOKS,
    Block,
    Cell,
    Columns,
    Fact,
    Facts,
    Head,
    Look,
    Part,
    Picture,
    Room,
    Rule,
    Sign,
    Table,
    Words,
)

MM_PER_PT = 25.4 / 72
LABEL_MM = 28.0  # the labels' share of a list of facts
ROW_PAD_MM = 0.75
CELL_GAP_MM = 1.5
LINE_TO_WRITE_MM = 8.0
LEAST_PICTURE_MM = 46.0
MOST_PICTURE_MM = 95.0  # beyond this a picture only grows, it doesn't tell more
# A browser prints with its own machine's fonts, which may run a little wider than ours.
SLACK_SHARE = 0.035

Measure = Callable[[str, Look], float]


@dataclass(frozen=True, slots=True)
class Text:
    """Words on one line, by the left end of their baseline."""

    x: float
    y: float
    text: str
    look: Look


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight rule."""

    x: float
    y: float
    x_end: float
    y_end: float
    width_mm: float = 0.2
    dashed: bool = False
    grey: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """A picture's place."""

    x: float
    y: float
    width_mm: float
    height_mm: float
    file: str
    alt: str


Mark = Text | Stroke | Placed


def shift(mark: Mark, down_mm: float) -> Mark:
    """Move a mark down the page."""
    if isinstance(mark, Stroke):
        return replace(mark, y=mark.y + down_mm, y_end=mark.y_end + down_mm)
    return replace(mark, y=mark.y + down_mm)


def _is_open(block: Block) -> bool:
    return isinstance(block, Picture) and not block.height_mm


def _row_mm(look: Look) -> float:
    return look.size_pt * MM_PER_PT * look.leading


class Setter:
    """Lays blocks out; `measure` gives the width in mm of words in a look."""

    def __init__(self, measure: Measure, page: Page) -> None:
        self._measure = measure
        self._page = page
        self._lay: dict[str, Callable[..., float]] = {
            "words": self._words, "head": self._head, "facts": self._facts, "table": self._table,
            "picture": self._picture, "columns": self._columns, "part": self._part,
            "sign": self._sign, "rule": self._rule, "room": self._room,
        }  # fmt: skip

    def pages(self, blocks: Sequence[Block]) -> list[list[Mark]]:
        """Set blocks one under the other, going to a new page where one doesn't fit."""
        page = self._page
        pages: list[list[Mark]] = [[]]
        y, bottom = page.top_mm, page.height_mm - page.foot_mm
        for strip, again in self._strips(blocks):
            marks, height = strip
            if y + height > bottom + 0.01 and pages[-1]:
                pages.append([])
                y = page.top_mm
                if again:
                    repeated, tall = again
                    pages[-1] += [shift(mark, y) for mark in repeated]
                    y += tall
            pages[-1] += [shift(mark, y) for mark in marks]
            y += height
        return pages

    def height_mm(self, blocks: Sequence[Block]) -> float:
        """Give the height that blocks take on an endless page."""
        return sum(strip[1] for strip, _ in self._strips(blocks))

    def left_mm(self, blocks: Sequence[Block]) -> float:
        """Give the height a page has left beside its blocks, less some slack."""
        return self._page.body_height_mm * (1 - SLACK_SHARE) - self.height_mm(blocks)

    def fits(self, blocks: Sequence[Block], left_mm: float) -> bool:
        """Say whether blocks go on one page, with at least a small picture where one is open."""
        return left_mm >= (LEAST_PICTURE_MM if any(map(_is_open, blocks)) else 0.0)

    def fill(self, blocks: Sequence[Block], left_mm: float) -> tuple[Block, ...]:
        """Give a picture without a height, or room without lines, what the page has left."""
        tall = round(max(LEAST_PICTURE_MM, min(MOST_PICTURE_MM, left_mm)), 1)
        lines = max(0, int((left_mm - 6.0) / LINE_TO_WRITE_MM))
        filled: list[Block] = []
        for one in blocks:
            if isinstance(one, Picture) and _is_open(one):
                filled.append(replace(one, height_mm=tall))
            elif isinstance(one, Room) and not one.lines:
                filled.append(replace(one, lines=lines))
            else:
                filled.append(one)
        return tuple(filled)

    def _strips(
        self, blocks: Sequence[Block]
    ) -> Iterator[tuple[tuple[list[Mark], float], tuple[list[Mark], float] | None]]:
        """Cut blocks into strips that stay whole, each with what a new page repeats before it."""
        left, width = self._page.side_mm, self._page.body_width_mm
        for block in blocks:
            if not isinstance(block, Table):
                yield self._strip(self.lay, block, left, 0.0, width), None
                continue
            head = self._strip(self._heads, block, left, 0.0, width)
            for number, row in enumerate(block.rows):
                strip = self._strip(self._row, block, row, left, 0.0, width)
                if number == 0:
                    under = [shift(mark, head[1]) for mark in strip[0]]
                    strip = ([*head[0], *under], head[1] + strip[1])
                yield strip, head if number else None
            yield ([], 1.2), None

    @staticmethod
    def _strip(lay: Callable[..., float], *given: object) -> tuple[list[Mark], float]:
        marks: list[Mark] = []
        return marks, lay(marks, *given)

    def lay(self, marks: list[Mark], block: Block, x: float, y: float, width: float) -> float:
        """Lay one block at a place; gives where the next one begins."""
        return self._lay[block.kind](marks, block, x, y, width)

    def _stack(
        self, marks: list[Mark], blocks: Sequence[Block], x: float, y: float, width: float
    ) -> float:
        for block in blocks:
            y = self.lay(marks, block, x, y, width)
        return y

    def _words(self, marks: list[Mark], block: Words, x: float, y: float, width: float) -> float:
        look = LOOKS[block.look]
        if not block.text:
            return y
        y = self._paragraph(
            marks,
            block.text,
            look,
            x,
            y + look.before_mm,
            width,
            block.opening,
            block.most_lines,
            block.across,
        )
        return y + look.after_mm

    def _paragraph(
        self,
        marks: list[Mark],
        text: str,
        look: Look,
        x: float,
        y: float,
        width: float,
        opening: str = "",
        most_lines: int = 0,
        across: str = "left",
    ) -> float:
        row = _row_mm(look)
        for line in self._break(text, look, width, opening, most_lines):
            wide = sum(self._measure(part, used) for part, used in line)
            at = x + {"left": 0.0, "center": (width - wide) / 2, "right": width - wide}[across]
            # The baseline stands where four fifths of the type's height are above it.
            baseline = y + row / 2 + look.size_pt * MM_PER_PT * 0.34
            for part, used in line:
                marks.append(Text(at, baseline, part, used))
                at += self._measure(part, used)
            y += row
        return y

    def _break(
        self, text: str, look: Look, width: float, opening: str, most_lines: int
    ) -> list[list[tuple[str, Look]]]:
        """Break words into lines of (words, look); a cut text ends in an ellipsis."""
        bold = replace(look, bold=True)
        tokens = [(word, bold) for word in opening.split()]
        lines: list[list[tuple[str, Look]]] = []
        for number, paragraph in enumerate(text.split("\n")):
            words = (tokens if number == 0 else []) + [(one, look) for one in paragraph.split()]
            lines += self._fill(words, width)
        if most_lines and len(lines) > most_lines:
            lines = lines[:most_lines]
            last = [*lines[-1]]
            while last and self._width(last) + self._measure(" …", look) > width:
                words_left = last[-1][0].rstrip().rsplit(" ", 1)
                cut = words_left[0] if len(words_left) > 1 else words_left[0][:-1]
                last = [*last[:-1], (cut, last[-1][1])] if cut else last[:-1]
            lines[-1] = [*last, (" …", look)]
        return lines

    def _fill(
        self, words: Sequence[tuple[str, Look]], width: float
    ) -> list[list[tuple[str, Look]]]:
        lines: list[list[tuple[str, Look]]] = [[]]
        for word, look in self._short_enough(words, width):
            line = lines[-1]
            if not line:
                line.append((word, look))
            elif self._width(line) + self._measure(f" {word}", look) <= width:
                if line[-1][1] == look:
                    line[-1] = (f"{line[-1][0]} {word}", look)
                else:
                    line.append((f" {word}", look))
            else:
                lines.append([(word, look)])
        return lines

    def _short_enough(
        self, words: Sequence[tuple[str, Look]], width: float
    ) -> Iterator[tuple[str, Look]]:
        for word, look in words:
            rest = word
            while self._measure(rest, look) > width and len(rest) > 1:
                cut = len(rest) - 1
                while cut > 1 and self._measure(rest[:cut], look) > width:
                    cut -= 1
                hyphen = rest.rfind("-", 0, cut) + 1
                cut = hyphen if hyphen > 1 else cut
                yield rest[:cut], look
                rest = rest[cut:]
            yield rest, look

    def _width(self, line: Sequence[tuple[str, Look]]) -> float:
        return sum(self._measure(part, look) for part, look in line)

    def _head(self, marks: list[Mark], block: Head, x: float, y: float, width: float) -> float:
        number, small = LOOKS["number"], LOOKS["small"]
        wide = self._measure(block.number, number)
        label = self._measure(block.label, small) + 2.5
        room = width - wide - label - 5.0
        shop = LOOKS["shop-small" if block.small else "shop"]
        top = y
        y = self._paragraph(marks, block.shop, shop, x, y, room) + shop.after_mm
        for line in block.lines:
            y = self._paragraph(marks, line, small, x, y, room)
        y = max(y, top + _row_mm(number))
        base = y - 1.2
        if block.label:
            marks.append(Text(x + width - wide - label, base, block.label, small))
        marks.append(Text(x + width - wide, base, block.number, number))
        marks.append(Stroke(x, y + 0.8, x + width, y + 0.8, 0.5))
        return y + 2.8

    def _facts(self, marks: list[Mark], block: Facts, x: float, y: float, width: float) -> float:
        for fact in block.facts:
            y = self._fact(marks, fact, x, y, width)
        return y + 1.2

    def _fact(self, marks: list[Mark], fact: Fact, x: float, y: float, width: float) -> float:
        label = min(LABEL_MM, width * 0.32)
        top = y + ROW_PAD_MM
        label_end = self._paragraph(marks, fact.label, LOOKS["small"], x, top, label - 1.5)
        y = top
        for number, line in enumerate(fact.lines):
            look = LOOKS["strong" if fact.strong and number == 0 else "plain"]
            y = self._paragraph(marks, line, look, x + label, y, width - label)
        y = max(y, label_end) + ROW_PAD_MM
        marks.append(Stroke(x, y, x + width, y, 0.15, grey=True))
        return y

    def _table(self, marks: list[Mark], block: Table, x: float, y: float, width: float) -> float:
        y = self._heads(marks, block, x, y, width)
        for row in block.rows:
            y = self._row(marks, block, row, x, y, width)
        return y + 1.2

    def _heads(self, marks: list[Mark], block: Table, x: float, y: float, width: float) -> float:
        look = replace(LOOKS["small"], bold=True)
        y += 1.0
        for row in block.heads:
            y = self._cells(marks, block, row, x, y, width, look)
        if block.heads:
            marks.append(Stroke(x, y, x + width, y, 0.25))
        return y

    def _row(
        self,
        marks: list[Mark],
        block: Table,
        row: Sequence[Cell],
        x: float,
        y: float,
        width: float,
    ) -> float:
        end = self._cells(marks, block, row, x, y, width, LOOKS["plain"], block.row_mm)
        marks.append(Stroke(x, end, x + width, end, 0.15, grey=True))
        if block.ruled:
            at = x
            for share in (*block.widths[:-1],):
                at += width * share / 100
                marks.append(Stroke(at - 1.0, y, at - 1.0, end, 0.15, grey=True))
        return end

    def _cells(
        self,
        marks: list[Mark],
        block: Table,
        row: Sequence[Cell],
        x: float,
        y: float,
        width: float,
        look: Look,
        least_mm: float = 0.0,
    ) -> float:
        end, column, pad = y + least_mm, 0, ROW_PAD_MM * 0.6
        for cell in row:
            share = sum(block.widths[column : column + cell.span])
            cell_width = width * share / 100
            used = LOOKS["fine"] if cell.fine else replace(look, bold=look.bold or cell.bold)
            below = self._paragraph(
                marks, cell.text, used, x, y + pad, cell_width - CELL_GAP_MM, across=cell.across
            )
            end = max(end, below + pad)
            x += cell_width
            column += cell.span
        return end

    def _picture(
        self, marks: list[Mark], block: Picture, x: float, y: float, width: float
    ) -> float:
        wide = min(block.width_mm, width)
        tall = block.height_mm * wide / block.width_mm
        if tall:
            marks.append(Placed(x, y + 0.5, wide, tall, block.file, block.alt))
        return y + tall + 1.0

    def _columns(
        self, marks: list[Mark], block: Columns, x: float, y: float, width: float
    ) -> float:
        free = width - block.gap_mm * (len(block.columns) - 1)
        ends = [y]
        for blocks, share in zip(block.columns, block.widths, strict=True):
            wide = free * share / 100
            ends.append(self._stack(marks, blocks, x, y, wide))
            x += wide + block.gap_mm
        return max(ends) + 0.6

    def _part(self, marks: list[Mark], block: Part, x: float, y: float, width: float) -> float:
        end = self._stack(marks, block.blocks, x, y, width)
        least = (self._page.body_height_mm / 2 - 4.0) if block.half else 0.0
        return max(end, y + least)

    def _sign(self, marks: list[Mark], block: Sign, x: float, y: float, width: float) -> float:
        y += 9.0
        widths = [40.0, *[(width - 48.0) / max(1, len(block.labels) - 1)] * len(block.labels)]
        for label, wide in zip(block.labels, widths, strict=False):
            marks.append(Stroke(x, y, x + wide, y, 0.2))
            self._paragraph(marks, label, LOOKS["fine"], x, y + 0.8, wide)
            x += wide + 8.0
        return y + 6.0

    def _rule(self, marks: list[Mark], block: Rule, x: float, y: float, width: float) -> float:
        if not block.words:
            marks.append(Stroke(x, y + 0.8, x + width, y + 0.8, 0.2))
            return y + 2.0
        marks.append(Stroke(x, y + 1.0, x + width, y + 1.0, 0.3, dashed=True, grey=True))
        return self._paragraph(
            marks, block.words, LOOKS["small"], x, y + 1.4, width, across="center"
        )

    def _room(self, marks: list[Mark], block: Room, x: float, y: float, width: float) -> float:
        if not block.lines:
            return y
        y = self._paragraph(marks, block.label, LOOKS["small"], x, y, width)
        for _ in range(block.lines):
            y += LINE_TO_WRITE_MM
            marks.append(Stroke(x, y, x + width, y, 0.15, grey=True))
        return y + 1.5
