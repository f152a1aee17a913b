"""Papers: their kinds, the pages they are printed on, and the values they print.

Every value is already in words. An issued paper keeps them, so that nothing on it is ever
computed again. Lengths of pages are mm.
"""

from dataclasses import dataclass
from typing import Literal

from app.core.compare.card_front import FrontFigure
from app.core.compare.card_picture import CardPicture
from app.core.compare.cards import CardFigure, CardRow

PageChoice = Literal["sheet", "half", "tag", "label"]
Rows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """A page to print on: its size, its margins, and what to put into the printer in words."""

    key: str
    label: str
    width_mm: float
    height_mm: float
    top_mm: float
    side_mm: float
    foot_mm: float


# Letter is 8.5 × 11 in, its half 5.5 × 8.5 in; A4 and A5 are those of ISO 216. The small label is
# that of a sheet of 24 on A4 (3 × 8).
PAGES: dict[str, Page] = {
    page.key: page
    for page in (
        Page("A4", "A4", 210.0, 297.0, 16.0, 20.0, 15.0),
        Page("Letter", "Letter", 215.9, 279.4, 14.0, 21.0, 13.0),
        Page("A4-half", "A5 (half of A4)", 148.0, 210.0, 10.0, 11.0, 10.0),
        Page("Letter-half", "half of Letter (140 × 216 mm)", 139.7, 215.9, 10.0, 10.0, 10.0),
        Page("tag", "a card of 105 × 148 mm", 105.0, 148.0, 7.0, 7.0, 6.0),
        Page("label", "a label of 70 × 36 mm", 70.0, 36.0, 2.0, 3.0, 2.0),
    )
}


@dataclass(frozen=True, slots=True)
class SlipKind:
    """A kind of paper: its label, what it is for, the page it takes, and whose record it shows.

    One that is `numbered` is issued once and kept; the others are printed as often as wanted.
    """

    key: str
    label: str
    purpose: str
    page: PageChoice
    about: tuple[Literal["job", "piece"], ...] = ("job",)
    has_code: bool = False
    numbered: bool = True


SLIP_KINDS: dict[str, SlipKind] = {
    kind.key: kind
    for kind in (
        SlipKind("intake_slip", "Intake slip", "two copies, one for the player", "sheet"),
        SlipKind("tray_tag", "Tray tag", "lies with the piece", "tag", has_code=True,
                 numbered=False),
        SlipKind("tray_label", "Small label", "sticks on the tray", "label", has_code=True,
                 numbered=False),
        SlipKind("bench_sheet", "Bench sheet", "to write on at the bench", "sheet",
                 numbered=False),
        SlipKind("return_card", "Return card", "goes home with the piece", "sheet"),
        SlipKind("half_card", "Half-page card", "the same, for the case", "half"),
        SlipKind("estimate", "Estimate", "what it will cost, before the work", "sheet"),
        SlipKind("bill", "Bill", "what it costs, what was paid", "sheet"),
        SlipKind("packing_note", "Packing note", "lies in the parcel", "sheet", ("job", "piece")),
        SlipKind("piece_record", "Full record", "all that is known of a piece", "sheet",
                 ("piece",)),
    )
}  # fmt: skip


OF_ORDERS = frozenset({"intake_slip", "estimate", "bill", "packing_note"})  # one for the order
CARD_KINDS = frozenset({"return_card", "half_card"})


def page_of(kind: SlipKind, paper: str) -> Page:
    """The page a paper is printed on in a shop that uses `paper` (A4 or Letter)."""
    return PAGES[{"sheet": paper, "half": f"{paper}-half"}.get(kind.page, kind.page)]


def kinds_about(noun: Literal["job", "piece"]) -> list[SlipKind]:
    """List the papers of a job or of a piece."""
    return [kind for kind in SLIP_KINDS.values() if noun in kind.about]


@dataclass(frozen=True, slots=True)
class SlipCommon:
    """What every paper says: the shop, the day, whose piece, which piece."""

    shop: str
    shop_lines: tuple[str, ...]
    issued_on: str
    slip_number: int | None = None
    job_number: int | None = None
    customer: str = ""
    customer_lines: tuple[str, ...] = ()
    piece: str = ""
    piece_kind: str = ""
    piece_marks: str = ""
    played_on: str = ""
    dropped_off: str = ""
    wanted_by: str = ""
    request: str = ""
    agreed_work: str = ""


@dataclass(frozen=True, slots=True)
class IntakePart:
    """The rest of the intake slip; of several `pieces` each has its row."""

    condition: str
    came_with: str
    complaints: str
    risks: str
    warranty: str
    declared_value: str
    goes_home: str
    money: tuple[str, ...]
    terms: str
    pieces: Rows = ()


@dataclass(frozen=True, slots=True)
class TagPart:
    """The rest of the tray tag; `address` is what the code holds."""

    address: str
    condition: str
    came_with: str
    goes_home: str


@dataclass(frozen=True, slots=True)
class Label:
    """One small label, headed by a job's number or a piece's marking.

    `address` is what the code holds, `code` its picture.
    """

    head: str
    customer: str
    piece: str
    wanted: str
    address: str
    code: str


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of labels: so many across and down, where they lie (mm), which is used first."""

    columns: int
    rows: int
    left_mm: float
    top_mm: float
    across_mm: float
    down_mm: float
    width_mm: float
    height_mm: float
    start: int = 1


# Sheets as sold for A4 and Letter (from memory): 24 of 70 × 36 mm, 30 of 2⅝ × 1 in.
LABEL_SHEETS: dict[str, LabelSheet] = {
    "A4": LabelSheet(3, 8, 0.0, 4.5, 70.0, 36.0, 70.0, 36.0),
    "Letter": LabelSheet(3, 10, 4.76, 12.7, 69.85, 25.4, 66.67, 25.4),
}


@dataclass(frozen=True, slots=True)
class LabelsPart:
    """Labels, on a sheet or each on a small page of its own."""

    labels: tuple[Label, ...]
    sheet: LabelSheet | None


@dataclass(frozen=True, slots=True)
class PaperPhoto:
    """A photograph on a paper: its file, its caption, its width over its height."""

    file: str
    caption: str
    aspect: float


@dataclass(frozen=True, slots=True)
class CardFront:
    """What the player keeps; every word of it plain."""

    asked: str
    figures: tuple[FrontFigure, ...]
    reed: str
    picture: CardPicture | None
    done: tuple[str, ...]
    care: tuple[str, ...]
    again: str


@dataclass(frozen=True, slots=True)
class RailLine:
    """One rail's line on the maker's picture: its curve, and where it was read (mm)."""

    rail: str
    state: str
    points: tuple[tuple[float, float], ...]
    stops: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class MakerPicture:
    """Both rails before and after, the blades as level lines, the glass's numbers (mm)."""

    alt: str
    end_mm: float
    high_mm: float
    lines: tuple[RailLine, ...]
    tips: tuple[tuple[str, float], ...]
    blades: tuple[tuple[float, str], ...]
    glass: tuple[tuple[float, str], ...]
    gap_ticks: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class CardBack:
    """What the next maker needs: figures, curves, gauges and how sure they are."""

    rows: tuple[CardRow, ...]
    figures: tuple[CardFigure, ...]
    counted: str
    curves: tuple[str, ...]
    as_read: tuple[str, ...]
    done: str
    gauges: tuple[str, ...]
    picture: MakerPicture | None
    photos: tuple[PaperPhoto, ...]


@dataclass(frozen=True, slots=True)
class CardPart:
    """The rest of the return card, whole or half a page."""

    front: CardFront
    back: CardBack


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """The plan on the bench sheet: what it comes to, its steps, what to read after them."""

    target: str
    summary: str
    cautions: tuple[str, ...]
    steps: Rows
    checks: Rows
    pictures: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class BenchPart:
    """The rest of the bench sheet; a row is a blade, what was read, and what is aimed at."""

    condition: str
    line: str
    rows: Rows
    counted: str
    target_name: str
    plan: BenchPlan | None
    passes: Rows
    caution: str


@dataclass(frozen=True, slots=True)
class BillPart:
    """The rest of a bill or an estimate: lines, payments and sums, each in words and money."""

    lines: Rows
    payments: Rows
    sums: Rows
    balance_label: str
    balance: str
    due: str
    address: tuple[str, ...]
    pay: str


@dataclass(frozen=True, slots=True)
class PackingPart:
    """The rest of the packing note; `to` is who the parcel goes to."""

    to: str
    address: tuple[str, ...]
    sender: tuple[str, ...]
    contents: Rows
    carrier: str
    declared_value: str
    customs: Rows
    notes: Rows
    care: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordJob:
    """One job in a piece's record: a heading, what was said of it, what was done, its history."""

    heading: str
    facts: Rows
    passes: Rows
    history: Rows
    photos: tuple[PaperPhoto, ...] = ()
    memos: Rows = ()


@dataclass(frozen=True, slots=True)
class RecordPart:
    """The rest of a piece's full record."""

    facts: Rows
    owners: Rows
    last: str
    counted: str
    readings: Rows
    lengths: Rows
    picture: MakerPicture | None
    jobs: tuple[RecordJob, ...]
    photos: tuple[PaperPhoto, ...]
    memos: Rows = ()


@dataclass(frozen=True, slots=True)
class FacingPart:
    """A facing's sheet for the bench: where each blade should stop, with room to write."""

    name: str
    about: str
    heads: tuple[str, ...]
    rows: Rows
    explained: str
    picture: MakerPicture | None
    note: str


@dataclass(frozen=True, slots=True)
class BatchPart:
    """A batch's sheet: each piece against the target.

    `runs` are each a label, words, a picture and its alternative text.
    `records` are its pieces' own papers, printed behind it.
    """

    name: str
    facts: Rows
    summary: str
    heads: tuple[str, ...]
    rows: Rows
    explained: str
    runs: tuple[tuple[str, tuple[str, ...], str, str], ...]
    records: "tuple[SlipValues, ...]" = ()


@dataclass(frozen=True, slots=True)
class BenchListPart:
    """The bench list: open jobs by stage, each stage with what comes next."""

    stages: tuple[tuple[str, str, Rows], ...]


SlipPart = (
    IntakePart
    | TagPart
    | LabelsPart
    | CardPart
    | BenchPart
    | BillPart
    | PackingPart
    | RecordPart
    | FacingPart
    | BatchPart
    | BenchListPart
)


@dataclass(frozen=True, slots=True)
class SlipValues:
    """All that one paper prints."""

    common: SlipCommon
    part: SlipPart
