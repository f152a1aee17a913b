"""Papers: the kinds the shop issues, the pages they are printed on, and the values they print.

Every value is already in words. An issued paper keeps them, so that nothing on it is ever
computed again. Lengths of pages are mm.
"""

from dataclasses import dataclass, field
from typing import Literal

from app.core.compare.cards import MeasuredPart

PageChoice = Literal["sheet", "half", "tag", "label"]


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

    @property
    def body_width_mm(self) -> float:
        """The width between the margins."""
        return self.width_mm - 2 * self.side_mm

    @property
    def body_height_mm(self) -> float:
        """The height between the margins."""
        return self.height_mm - self.top_mm - self.foot_mm


# The style sheet's @page rules carry the same sizes. Letter is 8.5 × 11 in, its half 5.5 × 8.5 in;
# A4 and A5 are those of ISO 216. The small label is that of a sheet of 24 on A4 (3 × 8).
PAGES: dict[str, Page] = {
    page.key: page
    for page in (
        Page("A4", "A4", 210.0, 297.0, 11.0, 13.0, 11.0),
        Page("Letter", "Letter", 215.9, 279.4, 9.0, 15.9, 9.0),
        Page("A4-half", "A5 (half of A4)", 148.0, 210.0, 8.0, 10.0, 8.0),
        Page("Letter-half", "half of Letter (140 × 216 mm)", 139.7, 215.9, 8.0, 9.0, 8.0),
        Page("tag", "a card of 105 × 148 mm", 105.0, 148.0, 6.0, 6.0, 6.0),
        Page("label", "a label of 70 × 36 mm", 70.0, 36.0, 2.0, 3.0, 2.0),
    )
}


@dataclass(frozen=True, slots=True)
class SlipKind:
    """A kind of paper: its label, what it is for, the page it takes, and whose record it shows."""

    key: str
    label: str
    purpose: str
    page: PageChoice
    about: Literal["job", "piece"] = "job"
    has_code: bool = False
    one_page: bool = True


SLIP_KINDS: dict[str, SlipKind] = {
    kind.key: kind
    for kind in (
        SlipKind("intake_slip", "Intake slip", "two copies, one for the player", "sheet"),
        SlipKind("tray_tag", "Tray tag", "lies with the piece", "tag", has_code=True),
        SlipKind("tray_label", "Small label", "sticks on the tray", "label", has_code=True),
        SlipKind("bench_sheet", "Bench sheet", "to write on at the bench", "sheet"),
        SlipKind("return_card", "Return card", "goes home with the piece", "sheet"),
        SlipKind("half_card", "Half-page card", "the same, for the case", "half"),
        SlipKind("bill", "Bill", "what it costs, what was paid", "sheet"),
        SlipKind("packing_note", "Packing note", "lies in the parcel", "sheet"),
        SlipKind(
            "piece_record", "Full record", "all that is known of a piece", "sheet", "piece",
            one_page=False,
        ),
    )
}  # fmt: skip


CARD_KINDS = frozenset({"return_card", "half_card"})


def page_of(kind: SlipKind, paper: str) -> Page:
    """Give the page a paper is printed on in a shop that uses `paper` (A4 or Letter)."""
    return PAGES[{"sheet": paper, "half": f"{paper}-half"}.get(kind.page, kind.page)]


def kinds_about(noun: Literal["job", "piece"]) -> list[SlipKind]:
    """List the papers of a job or of a piece."""
    return [kind for kind in SLIP_KINDS.values() if kind.about == noun]


@dataclass(frozen=True, slots=True)
class SlipCommon:
    """What every paper says: the shop, the day, whose piece, which piece."""

    shop: str
    shop_lines: tuple[str, ...]
    issued_on: str
    slip_number: int | None
    job_number: int | None
    customer: str
    customer_lines: tuple[str, ...]
    piece: str
    piece_kind: str
    piece_marks: str
    played_on: str
    dropped_off: str = ""
    wanted_by: str = ""
    request: str = ""
    agreed_work: str = ""


@dataclass(frozen=True, slots=True)
class IntakePart:
    """The rest of the intake slip."""

    condition: str
    came_with: str
    declared_value: str
    goes_home: str
    money: tuple[str, ...]
    terms: str


@dataclass(frozen=True, slots=True)
class TagPart:
    """The rest of the tray tag and the small label; `address` is what the code holds."""

    address: str
    condition: str
    came_with: str
    goes_home: str
    wanted_short: str = ""


@dataclass(frozen=True, slots=True)
class CardPhoto:
    """A photograph on a card: its file, its caption, its width over its height."""

    file: str
    caption: str
    aspect: float


@dataclass(frozen=True, slots=True)
class CardPart:
    """The rest of the return card, whole or half a page."""

    measured: MeasuredPart
    done: str
    care: str
    as_read: tuple[str, ...] = ()  # where the gauges of the day made the readings others
    photos: tuple[CardPhoto, ...] = ()


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One line of the bench sheet: what was read and what is aimed at, with room to write."""

    label: str
    left: str
    right: str
    target: str


@dataclass(frozen=True, slots=True)
class BenchPart:
    """The rest of the bench sheet."""

    condition: str
    line: str
    rows: tuple[BenchRow, ...]
    scale: str
    target_name: str
    passes: tuple[tuple[str, ...], ...]
    caution: str


@dataclass(frozen=True, slots=True)
class BillPart:
    """The rest of the bill: lines, payments and sums, each in words and money."""

    lines: tuple[tuple[str, str], ...]
    payments: tuple[tuple[str, str], ...]
    total: str
    paid: str
    balance_label: str
    balance: str
    address: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PackingPart:
    """The rest of the packing note."""

    address: tuple[str, ...]
    sender: tuple[str, ...]
    contents: tuple[tuple[str, str], ...]
    carrier: str
    declared_value: str
    care: str


@dataclass(frozen=True, slots=True)
class RecordJob:
    """One job in a piece's record: a heading and its dated history."""

    heading: str
    asked: str
    done: str
    history: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class RecordPart:
    """The rest of a piece's full record."""

    facts: tuple[tuple[str, str], ...]
    owners: tuple[tuple[str, str], ...]
    last: str
    scale: str
    readings: tuple[tuple[str, ...], ...]
    jobs: tuple[RecordJob, ...]


SlipPart = IntakePart | TagPart | CardPart | BenchPart | BillPart | PackingPart | RecordPart


@dataclass(frozen=True, slots=True)
class SlipValues:
    """All that one paper prints."""

    common: SlipCommon
    part: SlipPart
    files: tuple[str, ...] = field(default=())
