"""Gathers what a paper prints: from the book's records to values in words, blocks and pictures."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache, partial

from sqlalchemy.orm import Session

from app.core.jobs.slips import (
    Page,
    SlipCommon,
    SlipKind,
    SlipPart,
    SlipValues,
    page_of,
)
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date
from app.core.values.pieces import MATERIALS, name_piece
from app.render.blocks import Block, Picture
from app.render.codes import draw_code
from app.render.profile import ProfilePicture, draw_profile
from app.render.slip_layouts import CODE, PROFILE, lay_out
from app.render.slip_pdf import fit_page
from app.store.records.measurements import (
    Measurement,
    list_measurements,
    standing,
)
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Instrument, Job, Piece, Shop
from app.web.facing.pictures import compare_picture
from app.web.jobs.slip_cards import card_part, draw_photo, list_card_photos, photo_file
from app.web.jobs.slip_jobs import bench_part, bill_part, intake_part, packing_part, tag_part
from app.web.jobs.slip_records import record_part
from app.web.jobs.slip_subjects import Subject, before_after
from app.web.pages import Clock


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture of a paper: how all it depends on is gathered, and how it is drawn."""

    shown: Callable[[], object]
    draw: Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class PreparedSlip:
    """A paper ready to be shown or issued."""

    kind: SlipKind
    page: Page
    values: SlipValues
    blocks: tuple[Block, ...]
    drawings: Mapping[str, Drawing]


def prepare_slip(
    session: Session,
    kind: SlipKind,
    subject: Subject,
    clock: Clock,
    *,
    site: str,
    slip_number: int | None = None,
) -> PreparedSlip:
    """Gather a paper's values and lay them out; `site` is the address the book is open at."""
    shop = get_shop(session)
    page = page_of(kind, shop.paper)
    code = f"{site.rstrip('/')}{subject.address}"
    values = SlipValues(
        _common(subject, shop, clock, slip_number),
        _PARTS[kind.key](session, subject, shop, code),
    )
    blocks = _lay_out(kind, values, page)
    drawings = {}
    if kind.has_code:
        drawings[CODE] = Drawing(lambda: code, partial(draw_code, code))
    if profile := _find_picture(blocks):
        drawings[PROFILE] = _profile(session, kind, subject, profile)
    if kind.key == "return_card" and subject.job:
        for photo in list_card_photos(session, subject.job):
            draw = partial(draw_photo, clock.book, photo)
            drawings[photo_file(photo)] = Drawing(partial(str, photo.name), draw)
    return PreparedSlip(kind, page, values, blocks, drawings)


@lru_cache(maxsize=64)
def _lay_out(kind: SlipKind, values: SlipValues, page: Page) -> tuple[Block, ...]:
    """Lay a paper out; its page and its pictures ask for the same one within a moment."""
    if kind.one_page:
        return fit_page(partial(lay_out, kind.key, values, page), page)
    return tuple(lay_out(kind.key, values, page))


def _find_picture(blocks: tuple[Block, ...]) -> Picture | None:
    return next((one for one in blocks if isinstance(one, Picture) and one.file == PROFILE), None)


def _profile(session: Session, kind: SlipKind, subject: Subject, place: Picture) -> Drawing:
    gather = cache(partial(_gather_profile, session, kind, subject, place))
    return Drawing(gather, lambda: draw_profile(gather()))


def _gather_profile(
    session: Session, kind: SlipKind, subject: Subject, place: Picture
) -> ProfilePicture:
    if kind.about == "piece" or subject.job is None:
        sets = _drawn_sets(session, subject.piece)
        before, after = (sets[-2] if len(sets) > 1 else None), (sets[-1] if sets else None)
    else:
        before, after = before_after(subject.job)
    return compare_picture(
        before.facing if before else None,
        after.facing if after else None,
        gauges_in_use(session),
        (place.width_mm, place.height_mm),
    )


def _drawn_sets(session: Session, piece: Piece) -> list[Measurement]:
    sets = standing(list_measurements(session, piece.id))
    return [one for one in sets if one.facing.left or one.facing.right]


def say_missing(job: Job | None, kind: SlipKind) -> str:
    """Say what a card can't show yet."""
    if (
        job is None
        or not isinstance(kind, SlipKind)
        or kind.key not in {"return_card", "half_card"}
    ):
        return ""
    before, after = before_after(job)
    if after is None:
        return "There are no readings as returned yet; the card would only show what came in."
    return "" if before else "There are no readings as received; the card can't show a change."


def _common(subject: Subject, shop: Shop, clock: Clock, slip_number: int | None) -> SlipCommon:
    piece, job = subject.piece, subject.job
    customer = job.customer if job else piece.owner
    address = ", ".join(shop.address.splitlines())
    reach = " · ".join(one for one in (shop.phone, shop.email) if one)
    return SlipCommon(
        shop=shop.name,
        shop_lines=tuple(one for one in (address, reach) if one),
        issued_on=format_date(clock.today()),
        slip_number=slip_number,
        job_number=job.number if job else None,
        customer=customer.name,
        customer_lines=tuple(
            one for one in (*customer.address.splitlines(), customer.phone) if one
        ),
        piece=name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks),
        piece_kind=f"{INSTRUMENT_KINDS[piece.instrument_kind]}, {MATERIALS[piece.material]}",
        piece_marks=piece.telling_marks,
        played_on=_say_horn(job.instrument) if job else "",
        dropped_off=format_date(job.dropped_off) if job else "",
        wanted_by=format_date(job.wanted_by) if job else "",
        request=job.request if job else "",
        agreed_work=job.agreed_work if job else "",
    )


def _say_horn(horn: Instrument | None) -> str:
    return f"{INSTRUMENT_KINDS[horn.kind]} {horn.maker} {horn.model}".strip() if horn else ""


_PARTS: Mapping[str, Callable[[Session, Subject, Shop, str], SlipPart]] = {
    "intake_slip": intake_part,
    "tray_tag": tag_part,
    "tray_label": tag_part,
    "bench_sheet": bench_part,
    "return_card": card_part,
    "half_card": card_part,
    "bill": bill_part,
    "packing_note": packing_part,
    "piece_record": record_part,
}
