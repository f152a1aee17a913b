"""How each kind of paper is laid out: its values in, its blocks out.

A musician reads the first half of a card, a maker the second. A paper of one page prints as much
of its texts as the page has room for; the whole stands in the book.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from app.core.compare.cards import CardFigure, CardRow
from app.core.jobs.slips import (
    BenchPart,
    BillPart,
    CardPart,
    CardPhoto,
    IntakePart,
    PackingPart,
    Page,
    RecordPart,
    SlipCommon,
    SlipValues,
    TagPart,
)
from app.core.values.forms import shorten
from app.render.blocks import (
    Block,
    Cell,
    Columns,
    Fact,
    Facts,
    Head,
    Part,
    Picture,
    Room,
    Rule,
    Sign,
    Table,
    Words,
)

TEXT_LETTERS = 480
NOTE_LETTERS = 300
SIDES = "Left and right: table facing you, tip up."
PHOTO_TALL_MM = 38.0
PHOTO_WIDE_MM = 84.0
TRUE_SIZES = "Corrected for what the gauges truly measured that day;"
NOTHING_CUT = "Measured; nothing was cut."
PROFILE = "profile.svg"
CODE = "code.svg"


@dataclass(frozen=True, slots=True)
class Space:
    """The page a paper has, and how much of each text it may print (1 is the usual)."""

    page: Page
    share: float = 1.0

    def cut(self, text: str, letters: int) -> str:
        """Cut a text to its letters."""
        return shorten(text, max(14, round(letters * self.share)))

    def name(self, text: str, letters: int = 80) -> str:
        """Cut a name, which stays long enough to tell whose it is."""
        return shorten(text, max(36, round(letters * self.share)))

    @property
    def bare(self) -> bool:
        """Whether only what tells people and pieces apart has room."""
        return self.share < 0.3

    def first(self, lines: tuple[str, ...], most: int) -> tuple[str, ...]:
        """Keep the first lines."""
        return lines[: max(1, round(most * self.share))]

    def last(self, rows: tuple[tuple[str, ...], ...], most: int) -> tuple[tuple[str, ...], ...]:
        """Keep the last rows."""
        return rows[-max(1, round(most * self.share)) :]


def lay_out(kind: str, values: SlipValues, page: Page, share: float = 1.0) -> tuple[Block, ...]:
    """Lay a paper out for its page, with so much of its texts."""
    return _LAYOUTS[kind](values.common, values.part, Space(page, share))


def _head(common: SlipCommon, space: Space, *, small: bool = False) -> Head:
    label = "Job" if common.job_number is not None else "Slip"
    number = common.job_number if common.job_number is not None else common.slip_number
    return Head(
        space.name(common.shop),
        tuple(space.cut(line, 120) for line in common.shop_lines),
        label if number is not None else "",
        "" if number is None else str(number),
        small,
    )


def _slip(common: SlipCommon) -> str:
    return f" · slip {common.slip_number}" if common.slip_number else ""


def _customer_lines(common: SlipCommon, space: Space) -> tuple[str, ...]:
    kept = () if space.bare else space.first(common.customer_lines, 5)
    lines = (space.cut(line, 120) for line in kept)
    return (space.name(common.customer), *lines)


def _piece_lines(common: SlipCommon, space: Space) -> tuple[str, ...]:
    lines = [space.name(common.piece), common.piece_kind]
    if space.bare:
        return tuple(lines)
    if common.piece_marks and common.piece_marks != common.piece:
        lines.append(space.cut(common.piece_marks, 120))
    if common.played_on:
        lines.append(f"played on {space.cut(common.played_on, 80)}")
    return tuple(lines)


def _facts(*facts: tuple[str, str | tuple[str, ...]], strong: tuple[str, ...] = ()) -> Facts:
    """Make facts of those that say something."""
    kept = []
    for label, said in facts:
        lines = (said,) if isinstance(said, str) else said
        lines = tuple(line for line in lines if line)
        if lines:
            kept.append(Fact(label, lines, label in strong))
    return Facts(tuple(kept))


def _lay_out_intake(common: SlipCommon, part: IntakePart, space: Space) -> tuple[Block, ...]:

    def copy(whose: str, signed: str, *, half: bool) -> Part:
        left = _facts(
            (
                "Customer",
                (space.name(common.customer), *space.first(common.customer_lines, 5)),
            ),
            ("Piece", _piece_lines(common, space)),
            ("Dropped off", common.dropped_off),
            ("Wanted by", common.wanted_by),
            ("Goes home", part.goes_home),
            strong=("Customer", "Piece"),
        )
        right = _facts(
            ("Asked for", space.cut(common.request, TEXT_LETTERS) or "–"),
            ("Agreed", space.cut(common.agreed_work, NOTE_LETTERS)),
            ("Price", ", ".join(part.money)),
            ("Condition", space.cut(part.condition, TEXT_LETTERS) or "nothing to note"),
            ("Came with", space.cut(part.came_with, NOTE_LETTERS) or "nothing"),
            ("Declared value", part.declared_value),
        )
        return Part(
            (
                _head(common, space, small=not half),
                Words(f"Intake slip · {whose} · {common.issued_on}{_slip(common)}", "strong"),
                Columns(((left,), (right,)), (50, 50)),
                Words(part.terms, "fine"),
                Sign(("Date", signed)),
            ),
            half,
        )

    return (
        copy("Customer’s copy", "Signed for the shop", half=True),
        Rule("cut here"),
        copy("Shop’s copy", "Signed by the customer", half=False),
    )


def _lay_out_tag(common: SlipCommon, part: TagPart, space: Space) -> tuple[Block, ...]:
    wanted = f"Wanted by {common.wanted_by}" if common.wanted_by else ""
    return (
        Columns(
            (
                (
                    Words(space.cut(common.shop, 60), "small", most_lines=2),
                    Words(str(common.job_number), "number-huge"),
                    Words(wanted, "strong", most_lines=2),
                ),
                (_code(part, 42.0),),
            ),
            (53, 47),
            3.0,
        ),
        Rule(),
        Words(common.customer, "name", most_lines=2),
        Words(common.piece, "name", most_lines=2),
        Words(common.piece_kind, "plain", most_lines=1),
        Words(_other_marks(common), "plain", most_lines=2),
        _facts(
            ("Asked for", space.cut(common.request, 110)),
            ("Agreed", space.cut(common.agreed_work, 110)),
            ("Condition", space.cut(part.condition, 90)),
            ("Came with", space.cut(part.came_with, 60)),
            ("Goes home", part.goes_home),
        ),
        Words(f"Dropped off {common.dropped_off}{_slip(common)}", "small"),
        Room("Notes"),
    )


def _code(part: TagPart, side_mm: float) -> Picture:
    return Picture(CODE, f"Code with the job’s address, {part.address}", side_mm, side_mm)


def _other_marks(common: SlipCommon) -> str:
    return common.piece_marks if common.piece_marks != common.piece else ""


def _lay_out_label(common: SlipCommon, part: TagPart, space: Space) -> tuple[Block, ...]:
    del space  # its words are cut by their lines
    when = f"by {part.wanted_short}" if part.wanted_short else ""
    return (
        Columns(
            (
                (_code(part, 24.0), Words(when, "fine", most_lines=1, across="center")),
                (
                    Words(str(common.job_number), "number"),
                    Words(common.customer, "strong", most_lines=2),
                    Words(common.piece, "fine", most_lines=2),
                ),
            ),
            (43, 57),
            3.0,
        ),
    )


def _card_table(rows: tuple[CardRow, ...]) -> Table:
    def n(text: str, *, bold: bool = False) -> Cell:
        return Cell(text, bold=bold, across="center")

    heads = (
        (Cell("Blade"), n("Before"), n("After"), n("Change"), Cell("")),
        (Cell(""), *(n(side) for _ in range(3) for side in ("left", "right")), Cell("verdict")),
    )
    spans = (1, 2, 2, 2, 1)
    top = tuple(
        Cell(one.text, one.bold, span, one.across)
        for one, span in zip(heads[0], spans, strict=True)
    )
    return Table(
        (top, heads[1]),
        tuple(
            (
                Cell(row.blade, bold=True),
                n(row.before_left),
                n(row.before_right),
                n(row.after_left, bold=True),
                n(row.after_right, bold=True),
                n(row.change_left),
                n(row.change_right),
                Cell(row.verdict, fine=True),
            )
            for row in rows
        ),
        (13, 9, 9, 9, 9, 9, 9, 33),
    )


def _card_figures(figures: tuple[CardFigure, ...]) -> Table:
    heads = ("Quantity", "Before", "After", "Change, mm", "Verdict")
    return Table(
        (tuple(Cell(text) for text in heads),),
        tuple(
            (
                Cell(one.label, bold=True),
                Cell(one.before),
                Cell(one.after, bold=True),
                Cell(one.change),
                Cell(one.verdict, fine=True),
            )
            for one in figures
        ),
        (15, 21, 22, 14, 28),
    )


def _lay_out_card(common: SlipCommon, part: CardPart, space: Space) -> tuple[Block, ...]:
    measured = part.measured
    blocks: list[Block] = [
        _head(common, space),
        Words(space.name(common.customer), "strong"),
        Words(_piece_sentence(common, space), "plain"),
        Words(
            f"In {common.dropped_off} · return card of {common.issued_on}{_slip(common)}", "small"
        ),
        *(Words(one, "words") for one in measured.sentences),
    ]
    if measured.rows:
        where = f"Where each blade stops, from the tip, in {measured.glass_label}. {SIDES}"
        if part.as_read:
            where += f" {TRUE_SIZES} as read {', '.join(part.as_read)}."
        blocks += [_card_table(measured.rows), Words(where, "small")]
    if measured.figures:
        blocks.append(_card_figures(measured.figures))
    if measured.rows:
        blocks.append(
            Picture(PROFILE, "Facing profile, before and after", space.page.body_width_mm, 0.0)
        )
    blocks += [Words(one, "small") for one in measured.curves]
    blocks += _photo_row(part.photos)
    blocks.append(Words(space.cut(part.done, 600) or NOTHING_CUT, "fine", "What was done:"))
    blocks.append(Words(space.cut(part.care, 700), "fine", "Care:"))
    return tuple(blocks)


def _profile(space: Space) -> Picture:
    return Picture(PROFILE, "Facing profile, before and after", space.page.body_width_mm, 0.0)


def _photo_row(photos: tuple[CardPhoto, ...]) -> list[Block]:
    columns: list[tuple[Block, ...]] = []
    for one in photos[:2]:
        wide = min(PHOTO_TALL_MM * one.aspect, PHOTO_WIDE_MM)
        picture = Picture(one.file, one.caption, wide, wide / one.aspect)
        columns.append((picture, Words(one.caption, "small", most_lines=2)))
    if not columns:
        return []
    columns += [()] * (2 - len(columns))
    return [Columns(tuple(columns), (50, 50))]


def _piece_sentence(common: SlipCommon, space: Space) -> str:
    marks = _other_marks(common)
    text = space.name(common.piece) + (f" ({space.cut(marks, 80)})" if marks else "")
    horn = f"; played on {space.cut(common.played_on, 80)}" if common.played_on else ""
    return f"{text}. {common.piece_kind}{horn}"


def _both(left: str, right: str) -> str:
    return left if left == right else f"{left} / {right}"


def _lay_out_half_card(common: SlipCommon, part: CardPart, space: Space) -> tuple[Block, ...]:
    measured = part.measured
    blocks: list[Block] = [
        _head(common, space, small=True),
        Words(f"{space.name(common.customer, 60)} · {space.name(common.piece, 60)}", "strong"),
        Words(f"{common.piece_kind} · return card of {common.issued_on}{_slip(common)}", "small"),
        *(Words(one, "plain") for one in measured.sentences[:4]),
    ]
    if measured.rows:
        rows = tuple(
            (
                Cell(row.blade, bold=True),
                Cell(_both(row.before_left, row.before_right), across="center"),
                Cell(_both(row.after_left, row.after_right), bold=True, across="center"),
            )
            for row in measured.rows
        )
        figures = tuple(
            (
                Cell(one.label, bold=True),
                Cell(one.before, across="center"),
                Cell(one.after, bold=True, across="center"),
            )
            for one in measured.figures
            if one.label in {"Tip opening", "Exit bore"}
        )
        heads = ((Cell("Blade"), Cell("Before", across="center"), Cell("After", across="center")),)
        where = f"In {measured.glass_label} from the tip, left / right where they differ."
        blocks += [
            Table(heads, rows + figures, (28, 36, 36)),
            Words(where, "small"),
            _profile(space),
        ]
    blocks.append(Words(space.cut(part.done, 150) or NOTHING_CUT, "fine", "Done:"))
    blocks.append(Words(space.cut(part.care, 330), "fine", "Care:"))
    return tuple(blocks)


def _lay_out_bench(common: SlipCommon, part: BenchPart, space: Space) -> tuple[Block, ...]:
    heads = (
        (
            Cell("", span=1),
            Cell("As received", span=2, across="center"),
            Cell("Target", across="center"),
            *(Cell(f"{number}", span=2, across="center") for number in range(1, 5)),
        ),
        (
            Cell("Blade"),
            *(Cell(side, across="center") for side in ("left", "right")),
            Cell(""),
            *(Cell(side, across="center") for _ in range(4) for side in ("left", "right")),
        ),
    )
    rows = tuple(
        (
            Cell(row.label, bold=True),
            Cell(row.left, across="center"),
            Cell(row.right, across="center"),
            Cell(row.target, bold=True, across="center"),
            *(Cell("") for _ in range(8)),
        )
        for row in part.rows
    )
    passes = [*(tuple(map(Cell, one)) for one in space.last(part.passes, 12))]
    passes += [(Cell(""),) * 5] * max(0, round(7 * space.share) - len(passes))
    scale = f"In {part.scale} from the tip. {SIDES}"
    pass_heads = tuple(map(Cell, ("Day", "Cut", "With, grit", "Strokes", "Note")))
    return (
        _head(common, space),
        Words(f"Bench sheet · {common.issued_on}{_slip(common)}", "strong"),
        Columns(
            (
                (
                    _facts(
                        ("Customer", space.name(common.customer)),
                        ("Piece", _piece_lines(common, space)),
                        ("Wanted by", common.wanted_by),
                        strong=("Customer", "Piece"),
                    ),
                ),
                (
                    _facts(
                        ("Asked for", space.cut(common.request, NOTE_LETTERS)),
                        ("Agreed", space.cut(common.agreed_work, NOTE_LETTERS) or "not yet"),
                        ("Condition", space.cut(part.condition, NOTE_LETTERS)),
                        strong=("Agreed",),
                    ),
                ),
            ),
            (50, 50),
        ),
        Words(part.line or "not measured yet", "line"),
        Table(heads, rows, (12, 8, 8, 8, 8, 8, 8, 8, 8, 8, 8, 8), row_mm=8.0, ruled=True),
        Words(f"Target: {part.target_name}. {scale}" if part.target_name else scale, "small"),
        Table((pass_heads,), tuple(passes), (15, 22, 25, 10, 28), row_mm=7.5, ruled=True),
        Words(part.caution, "fine"),
        Room("Notes"),
    )


def _lay_out_bill(common: SlipCommon, part: BillPart, space: Space) -> tuple[Block, ...]:
    def money(rows: tuple[tuple[str, str], ...], heads: tuple[str, str]) -> Table:
        return Table(
            ((Cell(heads[0]), Cell(heads[1], across="right")),),
            tuple((Cell(space.cut(what, 160)), Cell(sum_, across="right")) for what, sum_ in rows),
            (75, 25),
        )

    blocks: list[Block] = [
        _head(common, space),
        Words(f"Bill · {common.issued_on}{_slip(common)}", "strong"),
        Words(space.name(common.customer), "name"),
        *(Words(space.cut(line, 120), "plain") for line in space.first(part.address, 6)),
        Words(_piece_sentence(common, space), "plain"),
        money(part.lines, ("For", "Amount")),
        Words(f"Together {part.total}", "name", across="right"),
    ]
    if part.payments:
        blocks += [
            money(part.payments, ("Paid", "Amount")),
            Words(f"Paid {part.paid}", "plain", across="right"),
        ]
    said = f"{part.balance_label.capitalize()} {part.balance}".strip()
    blocks += [Rule(), Words(said, "line", across="right")]
    return tuple(blocks)


def _lay_out_packing(common: SlipCommon, part: PackingPart, space: Space) -> tuple[Block, ...]:
    return (
        _head(common, space),
        Words(f"Packing note · {common.issued_on}{_slip(common)}", "strong"),
        Columns(
            (
                (
                    Words("To", "small"),
                    Words(space.name(common.customer), "name"),
                    *(Words(line, "name") for line in space.first(part.address, 7)),
                ),
                (
                    Words("From", "small"),
                    Words(space.name(common.shop), "strong"),
                    *(Words(line, "plain") for line in space.first(part.sender, 7)),
                ),
            ),
            (60, 40),
        ),
        Rule(),
        Words("In this parcel", "heading"),
        Table(
            ((Cell("What"), Cell("Remarks"), Cell("Packed")),),
            tuple((Cell(what, bold=True), Cell(note), Cell("")) for what, note in part.contents),
            (45, 43, 12),
            row_mm=8.0,
            ruled=True,
        ),
        _facts(
            ("Sent", part.carrier),
            ("Declared value", part.declared_value),
        ),
        Words("Compare the contents with this list when you open the parcel.", "plain"),
        Words(space.cut(part.care, 700), "fine", "Care:"),
        Sign(("Date", "Packed by")),
    )


def _lay_out_record(common: SlipCommon, part: RecordPart, space: Space) -> tuple[Block, ...]:
    facts = _facts(*part.facts)
    half = (len(facts.facts) + 1) // 2
    blocks: list[Block] = [
        _head(common, space),
        Words(f"Full record · {common.issued_on}{_slip(common)}", "strong"),
        Words(space.name(common.piece), "title"),
        Columns(((Facts(facts.facts[:half]),), (Facts(facts.facts[half:]),)), (50, 50)),
        Words("Owners", "heading"),
        Table(
            (tuple(map(Cell, ("From", "Owner"))),),
            tuple((Cell(since), Cell(name, bold=True)) for since, name in part.owners),
            (25, 75),
        ),
        Words("Readings", "heading"),
    ]
    if part.readings:
        heads = ("Day", "Measured", "Thin to thick / tip", "Facing length", "Rails", "Job")
        blocks += [
            Words(part.last, "line"),
            Picture(
                PROFILE, "The last two facings over each other", space.page.body_width_mm, 70.0
            ),
            Table(
                (tuple(map(Cell, heads)),),
                tuple(
                    tuple(Cell(text, bold=at == 2) for at, text in enumerate(row))
                    for row in part.readings
                ),
                (15, 19, 28, 12, 18, 8),
            ),
            Words(f"In {part.scale} from the tip. {SIDES}", "small"),
        ]
    else:
        blocks.append(Words("Not measured yet.", "plain"))
    for job in part.jobs:
        blocks.append(
            Part(
                (
                    Words(job.heading, "heading"),
                    Words(space.cut(job.asked, TEXT_LETTERS), "plain", "Asked for:"),
                    Words(space.cut(job.done, 600), "plain", "Done:"),
                )
            )
        )
        blocks.append(
            Table(
                (tuple(map(Cell, ("Day", "What happened"))),),
                tuple((Cell(day), Cell(words)) for day, words in job.history),
                (20, 80),
            )
        )
    return tuple(blocks)


_LAYOUTS: Mapping[str, Callable[..., tuple[Block, ...]]] = {
    "intake_slip": _lay_out_intake,
    "tray_tag": _lay_out_tag,
    "tray_label": _lay_out_label,
    "bench_sheet": _lay_out_bench,
    "return_card": _lay_out_card,
    "half_card": _lay_out_half_card,
    "bill": _lay_out_bill,
    "packing_note": _lay_out_packing,
    "piece_record": _lay_out_record,
}
