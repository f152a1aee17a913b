"""Gathers what a paper prints: from the book's records to values in words, blocks and pictures."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from pathlib import Path

from fastapi import HTTPException
from sqlalchemy.orm import Session

from app.core.cards import CardReadings, build_measured_part, say_done
from app.core.charges import PAYMENT_SIGNS
from app.core.customers import INSTRUMENT_KINDS
from app.core.forms import format_date, format_money, plural, shorten
from app.core.jobs import RETURN_WAYS, STAGES
from app.core.measurements import ROLES, GaugesInUse, write_line
from app.core.passes import CUT_KINDS
from app.core.photos import MOMENTS, name_photo
from app.core.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS, MATERIALS, name_piece
from app.core.readings import Uncertainties
from app.core.sizes import Sized
from app.core.slips import (
    CARD_KINDS,
    BenchPart,
    BenchRow,
    BillPart,
    CardPart,
    CardPhoto,
    IntakePart,
    PackingPart,
    Page,
    RecordJob,
    RecordPart,
    SlipCommon,
    SlipKind,
    SlipPart,
    SlipValues,
    TagPart,
    page_of,
)
from app.core.targets import list_target_rows
from app.core.units import format_blade, format_mm, format_on_scale
from app.render.blocks import Block, Picture
from app.render.codes import draw_code
from app.render.photos import shrink_photo
from app.render.profile import ProfilePicture, draw_profile
from app.render.slip_layouts import CODE, PROFILE, lay_out
from app.render.slip_pdf import fit_page
from app.store.charges import account_of, list_charges, list_payments
from app.store.facings import KeptFacing, get_facing
from app.store.measurements import (
    Measurement,
    last_facing,
    list_measurements,
    measurements_of_job,
    standing,
)
from app.store.passes import as_entry
from app.store.photos import list_photos, read_photo
from app.store.pieces import list_jobs_on
from app.store.shop import gauges_in_use, get_shop
from app.store.tables import Instrument, Job, Photo, Piece, Shop
from app.web.pages import Clock
from app.web.pictures import compare_picture
from app.web.summaries import summarise

DONE_LETTERS = 600


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose paper it is: a piece, in a job or outside any."""

    piece: Piece
    job: Job | None

    @property
    def address(self) -> str:
        """The page it belongs to."""
        return f"/jobs/{self.job.number}" if self.job else f"/pieces/{self.piece.id}"

    @property
    def name(self) -> str:
        """What the page is called in words."""
        return f"job {self.job.number}" if self.job else "the piece"


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
        for photo in _card_photos(session, subject.job):
            draw = partial(_draw_photo, clock.book, photo)
            drawings[_photo_file(photo)] = Drawing(partial(str, photo.name), draw)
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


def before_after(job: Job) -> tuple[Measurement | None, Measurement | None]:
    """Give a job's readings as received and as returned, the last of each that stands."""
    sets = measurements_of_job(job)
    before, after = standing(sets, "as_received"), standing(sets, "as_returned")
    return before[-1] if before else None, after[-1] if after else None


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


def _job_of(subject: Subject) -> Job:
    if subject.job is None:
        raise ValueError("this paper is about a job")
    return subject.job


def _ticked(job: Job, kind: str) -> str:
    return ", ".join(tick.label for tick in job.ticks if tick.kind == kind)


def _condition(job: Job) -> str:
    return ". ".join(one for one in (_ticked(job, "condition"), job.condition_notes) if one)


def _intake_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del code
    job = _job_of(subject)
    account = account_of(session, job)
    money = [format_money(account.total_minor, shop.currency)]
    if account.paid_minor:
        money.append(f"paid {format_money(account.paid_minor, shop.currency)}")
    elif job.deposit_minor:
        money.append(f"deposit {format_money(job.deposit_minor, shop.currency)}")
    return IntakePart(
        condition=_condition(job),
        came_with=_ticked(job, "came_with"),
        declared_value=format_money(job.declared_value_minor, shop.currency),
        goes_home=RETURN_WAYS[job.return_by],
        money=tuple(one for one in money if one),
        terms=shop.terms,
    )


def _tag_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del session, shop
    job = _job_of(subject)
    return TagPart(
        address=code,
        condition=_condition(job),
        came_with=_ticked(job, "came_with"),
        goes_home=RETURN_WAYS[job.return_by],
        wanted_short=f"{job.wanted_by.day} {job.wanted_by:%b %Y}" if job.wanted_by else "",
    )


def _card_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del code
    job = _job_of(subject)
    before, after = before_after(job)
    gauges = gauges_in_use(session)
    measured = build_measured_part(
        CardReadings(
            before.facing if before else None,
            after.facing if after else None,
            _bore_of(before),
            _bore_of(after),
        ),
        gauges,
        _uncertainties(before, after),
        shop.evenness_tolerance_mm,
    )
    passes = [as_entry(one) for one in job.passes if one.struck_at is None]
    return CardPart(
        measured=measured,
        done=shorten(say_done(job.agreed_work, passes), DONE_LETTERS),
        care=shop.care_text,
        as_read=tuple(
            f"{when} {line}"
            for when, one in (("before", before), ("after", after))
            if one is not None and (line := _line_as_read(one, gauges))
        ),
        photos=tuple(
            CardPhoto(
                _photo_file(one),
                name_photo(one.moment, one.view, one.caption),
                one.width_px / one.height_px,
            )
            for one in _card_photos(session, job)
        ),
    )


def _bore_of(measurement: Measurement | None) -> Sized | None:
    if measurement is None or measurement.bore_mm is None or measurement.bore_u_mm is None:
        return None
    return Sized(measurement.bore_mm, measurement.bore_u_mm)


def _line_as_read(measurement: Measurement, gauges: GaugesInUse) -> str:
    """Give the notebook line as read, where what the gauges truly were makes another of it."""
    read, used = (
        write_line(one, gauges.glass, gauges.tip)
        for one in (measurement.recorded, measurement.facing)
    )
    return read if read != used else ""


def _card_photos(session: Session, job: Job) -> list[Photo]:
    """Give the photographs chosen for the card: what came in first, at most two."""
    chosen = [
        one for one in list_photos(session, job_id=job.id) if one.on_card and one.struck_at is None
    ]
    order = list(MOMENTS)
    return sorted(chosen, key=lambda one: (order.index(one.moment), one.id))[:2]


def _photo_file(photo: Photo) -> str:
    return f"photo-{photo.id}.jpg"


def _draw_photo(book: Path, photo: Photo) -> bytes:
    content = read_photo(book, photo)
    if content is None:
        raise HTTPException(404, "This photograph’s file is not in the book’s folder.")
    return shrink_photo(content)


def _uncertainties(before: Measurement | None, after: Measurement | None) -> Uncertainties:
    """Give what holds for the whole card: every reading brings its own, so it hardly matters."""
    told = after or before
    return told.uncertainties if told else Uncertainties()


def _bench_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del shop, code
    job = _job_of(subject)
    received, _ = before_after(job)
    read = {one.gauge_id for one in received.readings if one.gauge_id} if received else set()
    gauges = gauges_in_use(session, instrument_kind=job.piece.instrument_kind, and_blades=read)
    aim = get_facing(session, job.facing_id)
    return BenchPart(
        condition=_condition(job),
        line=f"As received: {write_line(received.recorded, gauges.glass, gauges.tip)}"
        if received
        else "",
        rows=_bench_rows(received, gauges, _targets(aim, gauges) if aim else {}),
        scale=gauges.glass.label,
        target_name=aim.name if aim else "",
        passes=tuple(
            (
                one.done_on.isoformat(),
                CUT_KINDS[one.kind].label,
                ", ".join(part for part in (one.abrasive, one.grit) if part),
                str(one.strokes or ""),
                shorten(one.note, 60),
            )
            for one in job.passes[-12:]
            if one.struck_at is None
        ),
        caution=f"{MATERIAL_CAUTIONS[job.piece.material]} {CAUTION_DEFERS}",
    )


def _targets(aim: KeptFacing, gauges: GaugesInUse) -> dict[str, str]:
    """Say where each blade should stop, by its label, and the tip."""
    rows = list_target_rows(aim.target, aim.tolerance, gauges)
    said = {
        row.blade: row.left if row.left == row.right else f"{row.left}/{row.right}" for row in rows
    }
    tip = aim.target.tip_opening_mm
    return said | ({"Tip": format_on_scale(tip, gauges.tip)} if tip is not None else {})


def _bench_rows(
    received: Measurement | None, gauges: GaugesInUse, targets: Mapping[str, str]
) -> tuple[BenchRow, ...]:
    facing = received.recorded if received else None

    def read(gap_mm: float, rail: str) -> str:
        stops = getattr(facing, rail) if facing else ()
        found = (stop.position_mm for stop in stops if stop.gap_mm == gap_mm)
        position = next(found, None)
        return "" if position is None else format_on_scale(position, gauges.glass)

    tip = facing.tip_opening_mm if facing else None
    bore = received.bore_mm if received else None
    return (
        *(
            BenchRow(
                format_blade(blade.gap_mm),
                read(blade.gap_mm, "left"),
                read(blade.gap_mm, "right"),
                targets.get(blade.label, ""),
            )
            for blade in gauges.blades
        ),
        BenchRow(
            "Tip",
            "" if tip is None else format_on_scale(tip, gauges.tip),
            "",
            targets.get("Tip", ""),
        ),
        BenchRow("Exit bore", "" if bore is None else format_on_scale(bore, gauges.bore), "", ""),
    )


def _bill_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del code
    job = _job_of(subject)
    account = account_of(session, job)
    charges = [one for one in list_charges(session, job.id) if one.struck_at is None]
    payments = [one for one in list_payments(session, job.id) if one.struck_at is None]
    lines = [(one.label, format_money(one.amount_minor, shop.currency)) for one in charges]
    if not charges:
        agreed = format_money(job.agreed_price_minor, shop.currency) or "–"
        lines = [(shorten(job.agreed_work, 200) or "work as agreed", agreed)]
    balance = account.balance_minor
    return BillPart(
        lines=tuple(lines),
        payments=tuple(
            (
                ", ".join(
                    part
                    for part in (format_date(one.paid_on), PAYMENT_SIGNS[one.kind][0], one.way)
                    if part
                ),
                format_money(one.amount_minor, shop.currency),
            )
            for one in payments
        ),
        total=format_money(account.total_minor, shop.currency) or "–",
        paid=format_money(account.paid_minor, shop.currency),
        balance_label=account.say_balance(),
        balance=format_money(abs(balance), shop.currency) if balance else "",
        address=tuple(job.customer.address.splitlines()),
    )


def _packing_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del session, code
    job = _job_of(subject)
    piece = job.piece
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    marks = piece.telling_marks if piece.telling_marks != name else ""
    contents = [(shorten(name, 80), shorten(marks, 80))]
    contents += [(tick.label, "") for tick in job.ticks if tick.kind == "came_with"]
    cards = [slip for slip in job.slips if slip.kind in CARD_KINDS]
    contents.append(("return card", f"slip {cards[-1].number}" if cards else ""))
    carrier = RETURN_WAYS[job.return_by]
    return PackingPart(
        address=tuple(job.customer.address.splitlines()),
        sender=tuple(one for one in (*shop.address.splitlines(), shop.phone, shop.email) if one),
        contents=tuple(contents),
        carrier=f"{carrier}, tracking {job.tracking}" if job.tracking else carrier,
        declared_value=format_money(job.declared_value_minor, shop.currency),
        care=shop.care_text,
    )


def _record_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    del code
    piece, gauges = subject.piece, gauges_in_use(session)
    measurements = list_measurements(session, piece.id)
    last = last_facing(measurements)
    length = f"{format_mm(piece.table_length_mm, 1)} mm" if piece.table_length_mm else ""
    return RecordPart(
        facts=(
            ("For", INSTRUMENT_KINDS[piece.instrument_kind]),
            ("Material", MATERIALS[piece.material]),
            ("Maker", piece.maker),
            ("Model", piece.model),
            ("Marking", piece.marking),
            ("Told apart by", piece.telling_marks),
            ("Table length", length),
            ("Notes", shorten(piece.notes, 400)),
        ),
        owners=tuple((format_date(one.since), one.customer.name) for one in piece.ownerships),
        last=f"Last: {write_line(last.recorded, gauges.glass, gauges.tip)}" if last else "",
        scale=gauges.glass.label,
        readings=tuple(_record_line(one, gauges, shop) for one in measurements),
        jobs=tuple(_record_job(job) for job in reversed(list_jobs_on(session, piece.id))),
    )


def _record_line(one: Measurement, gauges: GaugesInUse, shop: Shop) -> tuple[str, ...]:
    told = summarise(one, gauges, shop)
    role = ROLES[one.role]
    if one.replaced_by_id:
        role += ", replaced by a correction"
    elif one.replaces_id:
        role += f", corrected: {shorten(one.replaces_why, 60)}"
    length = told.facing_length_mm
    return (
        one.taken_on.isoformat(),
        role,
        told.line + (f" (by true sizes {told.corrected_line})" if told.corrected_line else ""),
        "–" if length is None else f"{format_mm(length)} mm",
        told.evenness,
        str(one.job_number or ""),
    )


def _record_job(job: Job) -> RecordJob:
    passes = [as_entry(one) for one in job.passes if one.struck_at is None]
    return RecordJob(
        heading=f"Job {job.number}, {format_date(job.dropped_off)}, {job.customer.name}: "
        f"{STAGES[job.stage].label}, {plural(len(passes), 'pass', 'passes')}",
        asked=job.request,
        done=say_done(job.agreed_work, passes),
        history=tuple((event.on.isoformat(), event.words) for event in job.events),
    )


_PARTS: Mapping[str, Callable[[Session, Subject, Shop, str], SlipPart]] = {
    "intake_slip": _intake_part,
    "tray_tag": _tag_part,
    "tray_label": _tag_part,
    "bench_sheet": _bench_part,
    "return_card": _card_part,
    "half_card": _card_part,
    "bill": _bill_part,
    "packing_note": _packing_part,
    "piece_record": _record_part,
}
