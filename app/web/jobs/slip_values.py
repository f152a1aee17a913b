"""Gathers what a paper prints: from the book's records to values in words and pictures."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from sqlalchemy.orm import Session

from app.core.jobs.slips import (
    CARD_KINDS,
    OF_ORDERS,
    BenchPart,
    LabelsPart,
    Page,
    SlipCommon,
    SlipKind,
    SlipPart,
    SlipValues,
    TagPart,
    page_of,
)
from app.core.jobs.stages import EXPECTED
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date, shorten
from app.core.values.pieces import MATERIALS, name_piece
from app.packed import folder_of
from app.render.codes import draw_code
from app.render.papers import Paper, make_paper
from app.store.records.jobs import list_order
from app.store.records.shop import get_mark, get_shop
from app.store.tables import Instrument, Job, Piece, Shop
from app.web.jobs.slip_cards import card_part, draw_photo, half_card_part, list_card_photos
from app.web.jobs.slip_jobs import (
    TAG_LETTERS,
    TAG_NAME_LETTERS,
    bench_part,
    bill_part,
    cut_drawings,
    estimate_part,
    intake_part,
    label_part,
    packing_part,
    tag_part,
)
from app.web.jobs.slip_records import list_record_photos, record_part
from app.web.jobs.slip_subjects import Printing, Subject, before_after
from app.web.pages import SettingsDep

MARK = "mark.svg"


@dataclass(frozen=True, slots=True)
class PreparedSlip:
    """A paper ready to be shown or issued."""

    kind: SlipKind
    page: Page
    values: SlipValues
    paper: Paper


def prepare_slip(
    session: Session,
    kind: SlipKind,
    subject: Subject,
    settings: SettingsDep,
    *,
    site: str,
    slip_number: int | None = None,
) -> PreparedSlip:
    """Gather a paper's values and pictures; `site` is the address the book is open at."""
    shop = get_shop(session)
    page = page_of(kind, shop.paper)
    printing = Printing(settings.today(), address_on_papers(shop, site, subject.address))
    common = _common(subject, shop, settings, slip_number, brief=kind.page == "tag")
    if subject.job and kind.key in OF_ORDERS:
        common = _name_order(common, list_order(session, subject.job))
    values = SlipValues(common, _PARTS[kind.key](session, subject, shop, printing))
    about = f"job {common.job_number}" if common.job_number else common.piece
    title = f"{kind.label}, {about}" + (f", slip {slip_number}" if slip_number else "")
    pictures = draw_mark(session) | _pictures(session, kind, subject, values.part, settings.book)
    return PreparedSlip(kind, page, values, put_together(kind.key, title, page, values, pictures))


def put_together(
    template: str, title: str, page: Page, values: SlipValues, pictures: Mapping[str, str]
) -> Paper:
    """Make a paper of its values."""
    folders = folder_of("templates") / "papers", folder_of("static") / "fonts"
    return make_paper(template, title, page, asdict(values), pictures, folders)


def address_on_papers(shop: Shop, site: str, path: str) -> str:
    """The address that a code holds: the shop's own for its papers, else where we are."""
    return f"{(shop.papers_address or site).rstrip('/')}{path}"


def draw_mark(session: Session) -> dict[str, str]:
    """The shop's mark among a paper's pictures, if it has one."""
    mark = get_mark(session)
    return {MARK: mark} if mark else {}


def _pictures(
    session: Session, kind: SlipKind, subject: Subject, part: SlipPart, book: Path
) -> dict[str, str]:
    """Draw what a paper shows beside its words, each under the name that its values give it."""
    pictures: dict[str, str] = {}
    if isinstance(part, TagPart):
        pictures["code.svg"] = draw_code(part.address).decode()
    elif isinstance(part, LabelsPart):
        pictures |= {label.code: draw_code(label.address).decode() for label in part.labels}
    elif isinstance(part, BenchPart) and part.plan and subject.job:
        pictures |= cut_drawings(session, subject.job, part.plan.pictures)
    elif kind.key in CARD_KINDS and subject.job:
        photos = list_card_photos(session, subject.job)
        pictures |= {f"photo-{photo.id}.svg": draw_photo(book, photo) for photo in photos}
    elif kind.key == "piece_record":
        photos = list_record_photos(session, subject.piece)
        pictures |= {f"photo-{photo.id}.svg": draw_photo(book, photo) for photo in photos}
    return pictures


def say_missing(job: Job | None, kind: SlipKind) -> str:
    """Say what a card can't show yet."""
    if job is None or kind.key not in CARD_KINDS:
        return ""
    before, after = before_after(job)
    if after is None:
        return "There are no readings as returned yet; the card would only show what came in."
    return "" if before else "There are no readings as received; the card can't show a change."


def shop_common(shop: Shop, settings: SettingsDep) -> SlipCommon:
    """What a paper says that is about no job: the shop and the day."""
    address = ", ".join(shop.address.splitlines())
    reach = " · ".join(filter(None, (shop.phone, shop.email)))
    return SlipCommon(
        shop=shop.name,
        shop_lines=tuple(line for line in (address, reach) if line),
        issued_on=format_date(settings.today()),
    )


def _common(
    subject: Subject, shop: Shop, settings: SettingsDep, slip_number: int | None, *, brief: bool
) -> SlipCommon:
    """What every paper says; a `brief` one has room for the beginning of its texts."""
    piece, job = subject.piece, subject.job
    customer = job.customer if job else piece.owner
    of_shop = shop_common(shop, settings)

    def trim(text: str) -> str:
        return shorten(text, TAG_LETTERS) if brief else text

    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    reach = (*customer.address.splitlines(), customer.phone, customer.email)
    return SlipCommon(
        shop=of_shop.shop,
        shop_lines=of_shop.shop_lines,
        issued_on=of_shop.issued_on,
        slip_number=slip_number,
        job_number=job.number if job else None,
        customer=shorten(customer.name, TAG_NAME_LETTERS) if brief else customer.name,
        customer_lines=tuple(line for line in reach if line),
        piece=shorten(name, TAG_NAME_LETTERS) if brief else name,
        piece_kind=_say_kind(piece),
        piece_marks=trim(piece.telling_marks) if piece.telling_marks != name else "",
        played_on=_say_horn(job.instrument) if job else "",
        dropped_off=format_date(job.dropped_off) if job and job.stage != EXPECTED else "",
        wanted_by=format_date(job.wanted_by) if job else "",
        request=trim(job.request) if job else "",
        agreed_work=trim(job.agreed_work) if job else "",
    )


def _name_order(common: SlipCommon, order: Sequence[Job]) -> SlipCommon:
    """Say that a paper is about all pieces of an order, if they are several."""
    if len(order) == 1:
        return common
    numbers = f"jobs {order[0].number} to {order[-1].number}"
    return replace(
        common, piece=f"{len(order)} pieces", piece_kind=numbers, piece_marks="", played_on=""
    )


def _say_kind(piece: Piece) -> str:
    kind = INSTRUMENT_KINDS[piece.instrument_kind]
    return kind if piece.material == "unknown" else f"{kind}, {MATERIALS[piece.material]}"


def _say_horn(horn: Instrument | None) -> str:
    return f"{INSTRUMENT_KINDS[horn.kind]} {horn.maker} {horn.model}".strip() if horn else ""


_PARTS: Mapping[str, Callable[[Session, Subject, Shop, Printing], SlipPart]] = {
    "intake_slip": intake_part,
    "tray_tag": tag_part,
    "tray_label": label_part,
    "bench_sheet": bench_part,
    "return_card": card_part,
    "half_card": half_card_part,
    "estimate": estimate_part,
    "bill": bill_part,
    "packing_note": packing_part,
    "piece_record": record_part,
}
