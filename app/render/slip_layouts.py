"""How each kind of paper is laid out: its values in, its blocks out.

A musician reads the first half of a card, a maker the second. Texts are shortened to what a page
has room for; the whole stands in the book.
"""

from collections.abc import Callable, Mapping

from app.core.cards import CardFigure, CardRow
from app.core.forms import shorten
from app.core.slips import (
    BenchPart,
    CardPart,
    IntakePart,
    PackingPart,
    Page,
    RecordPart,
    SlipCommon,
    SlipValues,
    TagPart,
)
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

NAME_LETTERS = 80
TEXT_LETTERS = 360
NOTE_LETTERS = 220
SIDES = "Left and right: table facing you, tip up."
PROFILE = "profile.svg"
CODE = "code.svg"


def lay_out(kind: str, values: SlipValues, page: Page) -> tuple[Block, ...]:
    """Lay a paper out for its page."""
    return _LAYOUTS[kind](values.common, values.part, page)


def _head(common: SlipCommon, *, small: bool = False) -> Head:
    label = "Job" if common.job_number is not None else "Slip"
    number = common.job_number if common.job_number is not None else common.slip_number
    return Head(
        shorten(common.shop, NAME_LETTERS),
        tuple(shorten(line, 120) for line in common.shop_lines),
        label if number is not None else "",
        "" if number is None else str(number),
        small,
    )


def _slip(common: SlipCommon) -> str:
    return f" · slip {common.slip_number}" if common.slip_number else ""


def _piece_lines(common: SlipCommon) -> tuple[str, ...]:
    lines = [shorten(common.piece, NAME_LETTERS), common.piece_kind]
    if common.piece_marks and common.piece_marks != common.piece:
        lines.append(shorten(common.piece_marks, 120))
    if common.played_on:
        lines.append(f"played on {shorten(common.played_on, NAME_LETTERS)}")
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


def _lay_out_intake(common: SlipCommon, part: IntakePart, page: Page) -> tuple[Block, ...]:
    del page

    def copy(whose: str, signed: str, *, half: bool) -> Part:
        left = _facts(
            ("Customer", (shorten(common.customer, NAME_LETTERS), *common.customer_lines[:5])),
            ("Piece", _piece_lines(common)),
            ("Dropped off", common.dropped_off),
            ("Wanted by", common.wanted_by),
            ("Goes home", part.goes_home),
            strong=("Customer", "Piece"),
        )
        right = _facts(
            ("Asked for", shorten(common.request, TEXT_LETTERS) or "–"),
            ("Agreed", shorten(common.agreed_work, NOTE_LETTERS)),
            ("Price", part.money),
            ("Condition", shorten(part.condition, TEXT_LETTERS) or "nothing to note"),
            ("Came with", shorten(part.came_with, NOTE_LETTERS) or "nothing"),
            ("Declared value", part.declared_value),
        )
        return Part(
            (
                _head(common),
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


def _lay_out_tag(common: SlipCommon, part: TagPart, page: Page) -> tuple[Block, ...]:
    del page
    wanted = f"Wanted by {common.wanted_by}" if common.wanted_by else ""
    return (
        Columns(
            (
                (
                    Words(shorten(common.shop, 60), "small", most_lines=2),
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
            ("Asked for", shorten(common.request, 110)),
            ("Agreed", shorten(common.agreed_work, 110)),
            ("Condition", shorten(part.condition, 90)),
            ("Came with", shorten(part.came_with, 60)),
            ("Goes home", part.goes_home),
        ),
        Words(f"Dropped off {common.dropped_off}{_slip(common)}", "small"),
        Room("Notes"),
    )


def _code(part: TagPart, side_mm: float) -> Picture:
    return Picture(CODE, f"Code with the job’s address, {part.address}", side_mm, side_mm)


def _other_marks(common: SlipCommon) -> str:
    return common.piece_marks if common.piece_marks != common.piece else ""


def _lay_out_label(common: SlipCommon, part: TagPart, page: Page) -> tuple[Block, ...]:
    del page
    when = f"by {part.wanted_short}" if part.wanted_short else ""
    return (
        Columns(
            (
                (_code(part, 25.0), Words(when, "fine", most_lines=1, across="center")),
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


def _lay_out_card(common: SlipCommon, part: CardPart, page: Page) -> tuple[Block, ...]:
    measured = part.measured
    blocks: list[Block] = [
        _head(common),
        Words(shorten(common.customer, NAME_LETTERS), "strong"),
        Words(_piece_sentence(common), "plain"),
        Words(
            f"In {common.dropped_off} · return card of {common.issued_on}{_slip(common)}", "small"
        ),
        *(Words(one, "words") for one in measured.sentences),
    ]
    if measured.rows:
        where = f"Where each blade stops, from the tip, in {measured.glass_label}. {SIDES}"
        blocks += [_card_table(measured.rows), Words(where, "small")]
    if measured.figures:
        blocks.append(_card_figures(measured.figures))
    if measured.rows:
        blocks.append(Picture(PROFILE, "Facing profile, before and after", page.body_width_mm, 0.0))
    blocks += [Words(one, "small") for one in measured.curves]
    blocks += _photo_row(part.photos)
    blocks.append(Words(part.done or "Measured; nothing was cut.", "fine", "What was done:"))
    blocks.append(Words(part.care, "fine", "Care:"))
    return tuple(blocks)


def _photo_row(photos: tuple[tuple[str, str], ...]) -> list[Block]:
    if not photos:
        return []
    shown = photos[:2]
    columns = tuple(
        (Picture(file, caption, 45.0, 33.75), Words(caption, "small", most_lines=1))
        for file, caption in shown
    )
    return [Columns(columns, (50,) * len(shown) if len(shown) > 1 else (100,))]


def _piece_sentence(common: SlipCommon) -> str:
    marks = _other_marks(common)
    text = shorten(common.piece, NAME_LETTERS) + (f" ({shorten(marks, 80)})" if marks else "")
    horn = f"; played on {shorten(common.played_on, NAME_LETTERS)}" if common.played_on else ""
    return f"{text}. {common.piece_kind}{horn}"


def _both(left: str, right: str) -> str:
    return left if left == right else f"{left} / {right}"


def _lay_out_half_card(common: SlipCommon, part: CardPart, page: Page) -> tuple[Block, ...]:
    measured = part.measured
    blocks: list[Block] = [
        _head(common, small=True),
        Words(f"{shorten(common.customer, 60)} · {shorten(common.piece, 60)}", "strong"),
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
            Picture(PROFILE, "Facing profile, before and after", page.body_width_mm, 0.0),
        ]
    blocks.append(Words(shorten(part.done, 150) or "Measured; nothing was cut.", "fine", "Done:"))
    blocks.append(Words(shorten(part.care, 330), "fine", "Care:"))
    return tuple(blocks)


def _lay_out_bench(common: SlipCommon, part: BenchPart, page: Page) -> tuple[Block, ...]:
    del page
    heads = (
        (
            Cell("", span=1),
            Cell("As received", span=2, across="center"),
            Cell(part.target_name or "Target", across="center"),
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
    passes = [*(tuple(map(Cell, one)) for one in part.passes)]
    passes += [(Cell(""),) * 5] * max(0, 7 - len(passes))
    pass_heads = tuple(map(Cell, ("Day", "Cut", "With, grit", "Strokes", "Note")))
    return (
        _head(common),
        Words(f"Bench sheet · {common.issued_on}{_slip(common)}", "strong"),
        Columns(
            (
                (
                    _facts(
                        ("Customer", shorten(common.customer, NAME_LETTERS)),
                        ("Piece", _piece_lines(common)),
                        ("Wanted by", common.wanted_by),
                        strong=("Customer", "Piece"),
                    ),
                ),
                (
                    _facts(
                        ("Asked for", shorten(common.request, NOTE_LETTERS)),
                        ("Agreed", shorten(common.agreed_work, NOTE_LETTERS) or "not yet"),
                        ("Condition", shorten(part.condition, NOTE_LETTERS)),
                        strong=("Agreed",),
                    ),
                ),
            ),
            (50, 50),
        ),
        Words(part.line or "not measured yet", "line"),
        Table(heads, rows, (12, 8, 8, 8, 8, 8, 8, 8, 8, 8, 8, 8), row_mm=8.0, ruled=True),
        Words(f"In {part.scale} from the tip. {SIDES}", "small"),
        Table((pass_heads,), tuple(passes), (15, 22, 25, 10, 28), row_mm=7.5, ruled=True),
        Words(part.caution, "fine"),
        Room("Notes"),
    )


def _lay_out_packing(common: SlipCommon, part: PackingPart, page: Page) -> tuple[Block, ...]:
    del page
    return (
        _head(common),
        Words(f"Packing note · {common.issued_on}{_slip(common)}", "strong"),
        Columns(
            (
                (
                    Words("To", "small"),
                    Words(shorten(common.customer, NAME_LETTERS), "name"),
                    *(Words(line, "name") for line in part.address[:6]),
                ),
                (
                    Words("From", "small"),
                    Words(shorten(common.shop, NAME_LETTERS), "strong"),
                    *(Words(line, "plain") for line in part.sender[:6]),
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
        Words(part.care, "fine", "Care:"),
        Sign(("Date", "Packed by")),
    )


def _lay_out_record(common: SlipCommon, part: RecordPart, page: Page) -> tuple[Block, ...]:
    facts = _facts(*part.facts)
    half = (len(facts.facts) + 1) // 2
    blocks: list[Block] = [
        _head(common),
        Words(f"Full record · {common.issued_on}{_slip(common)}", "strong"),
        Words(shorten(common.piece, NAME_LETTERS), "title"),
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
            Picture(PROFILE, "The last two facings over each other", page.body_width_mm, 70.0),
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
                    Words(shorten(job.asked, TEXT_LETTERS), "plain", "Asked for:"),
                    Words(shorten(job.done, 600), "plain", "Done:"),
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
    "packing_note": _lay_out_packing,
    "piece_record": _lay_out_record,
}
