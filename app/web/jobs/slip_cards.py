"""What the return card holds: the player's half, the maker's half, its photographs."""

from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path

from sqlalchemy.orm import Session

from app.core.compare.card_front import list_figures, say_again, say_care
from app.core.compare.card_picture import build_picture
from app.core.compare.cards import MeasuredPart, build_measured_part
from app.core.compare.differences import shorten_facing
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.jobs.photos import MOMENTS, name_photo
from app.core.jobs.slips import CardBack, CardFront, CardPart, MakerPicture, PaperPhoto, RailLine
from app.core.values.forms import format_date, shorten
from app.core.values.units import format_number
from app.core.values.works import done_lines, say_all_done, say_carried, shortened_mm
from app.render.figures import nice_ticks
from app.render.papers import frame_photo
from app.render.profile import ProfilePicture, describe_profile
from app.store.records.gauges import load_register
from app.store.records.measurements import Measurement
from app.store.records.passes import standing_passes, standing_works
from app.store.records.photos import list_photos, read_photo
from app.store.records.shop import gauges_in_use
from app.store.tables import Job, Photo, Shop
from app.web.facing.pictures import compare_picture
from app.web.jobs.slip_subjects import Printing, Subject, before_after, job_of

DONE_LETTERS = 500
CARD_PHOTOS = 2
TRUE_SIZES = "Worked out by what the gauges truly measured that day; as read it was"


@dataclass(frozen=True, slots=True)
class _Room:
    """How much of each text a card has room for, in letters, and how many photographs."""

    asked: int
    care: int
    photos: int


_WHOLE, _HALF = _Room(320, 420, 2), _Room(150, 240, 0)


def card_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> CardPart:
    """What the return card holds."""
    return _card(session, job_of(subject), shop, printing.today, _WHOLE)


def half_card_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> CardPart:
    """What the card for the case holds: the same, on half a page."""
    return _card(session, job_of(subject), shop, printing.today, _HALF)


def _card(session: Session, job: Job, shop: Shop, today: date, room: _Room) -> CardPart:
    before, after = before_after(job)
    gauges = gauges_in_use(session)
    measured = build_measured_part(
        before.read_set if before else None,
        after.read_set if after else None,
        gauges,
        shop.evenness_tolerance_mm,
        job.piece.instrument_kind,
        shortened_mm(standing_works(job)),
    )
    return CardPart(
        _front(job, (before, after), measured, gauges, shop, today, room),
        _back(session, job, (before, after), measured, gauges, room),
    )


Pair = tuple[Measurement | None, Measurement | None]


def _front(
    job: Job,
    pair: Pair,
    measured: MeasuredPart,
    gauges: GaugesInUse,
    shop: Shop,
    today: date,
    room: _Room,
) -> CardFront:
    """Put the player's half together: readings as they were read, verdicts as core gives them."""
    before, after = (measurement.recorded if measurement else None for measurement in pair)
    change = measured.told
    drawn, changed = before, change.moved
    if before and change.shortened_mm:  # on the table, so that what came off shows as it lies there
        drawn, changed = shorten_facing(before, change.shortened_mm), bool(change.length_mm)
    return CardFront(
        asked=shorten(" ".join(job.request.split()), room.asked),
        figures=list_figures(before, after, change, measured.rails, gauges.tip),
        reed=measured.reed,
        picture=build_picture(drawn, after, changed=changed),
        done=list_done(job),
        care=say_care(job.piece.material, shorten(shop.care_text, room.care)),
        again=say_again(today, shop.look_again_months) if after else "",
    )


def list_done(job: Job) -> tuple[str, ...]:
    """Say for a player what was done to the piece, in the past tense: only what was noted."""
    return done_lines(standing_passes(job), standing_works(job))


def _back(
    session: Session, job: Job, pair: Pair, measured: MeasuredPart, gauges: GaugesInUse, room: _Room
) -> CardBack:
    before, after = pair
    as_read = [
        f"{TRUE_SIZES} {line} {when}."
        for when, measurement in (("before", before), ("after", after))
        if measurement is not None and (line := _line_as_read(measurement, gauges))
    ]
    if off_mm := measured.told.shortened_mm:
        as_read.insert(0, say_carried(off_mm))
    done = say_all_done(standing_passes(job), standing_works(job))
    first = before.facing if before else None
    if first and off_mm:
        first = shorten_facing(first, off_mm)
    picture = compare_picture(first, after.facing if after else None, gauges)
    return CardBack(
        rows=measured.rows,
        figures=measured.figures,
        counted=gauges.counted,
        curves=measured.curves,
        as_read=tuple(as_read),
        done=shorten(done, DONE_LETTERS),
        gauges=_list_gauges(session, pair),
        picture=maker_picture(picture),
        photos=tuple(map(describe_photo, list_card_photos(session, job)[: room.photos])),
    )


def _list_gauges(session: Session, pair: Pair) -> tuple[str, ...]:
    """Name the gauges that the readings were taken with, each with its last check by then."""
    register = load_register(session)
    used: dict[int, date] = {}
    for measurement in pair:
        if measurement is None:
            continue
        sizes = measurement.sizes
        for reading in measurement.readings:
            marked = sizes.marked(reading)
            for gauge_id in (reading.gauge_id, marked.id if marked else None):
                if gauge_id is not None and gauge_id in register:
                    used[gauge_id] = max(used.get(gauge_id, date.min), measurement.taken_on)
    checked: dict[str, list[str]] = {}
    for gauge_id, day in used.items():
        gauge = register[gauge_id]
        days = [check.on for check in gauge.checks if check.on <= day]
        words = f"checked {format_date(max(days))}" if days else "as marked, not checked"
        checked.setdefault(words, []).append(gauge.label)
    return tuple(f"{'; '.join(labels)}: {words}." for words, labels in checked.items())


@lru_cache(maxsize=32)
def maker_picture(picture: ProfilePicture) -> MakerPicture | None:
    """The maker's picture as the paper draws it; None where nothing was read along a rail."""
    lines = [line for line in picture.lines if line.drawn or line.stops]
    if not lines:
        return None
    stops = [stop for line in lines for stop in line.stops]
    tips = {line.state: line.tip_opening_mm for line in lines if line.tip_opening_mm is not None}
    reach = [s for line in lines for s in line.curve_s_mm] + [stop.position_mm for stop in stops]
    gaps = [gap for line in lines for gap in line.curve_gap_mm] + [stop.gap_mm for stop in stops]
    end, high = 1.04 * max(reach), 1.08 * max(*gaps, *tips.values())
    blades = [blade for blade in picture.blades if blade.gap_mm <= high]
    per_number = picture.glass_mm_per_number
    numbers = nice_ticks(0.0, end / per_number, 8)
    return MakerPicture(
        alt=describe_profile(picture),
        end_mm=round(end, 2),
        high_mm=round(high, 3),
        lines=tuple(
            RailLine(
                line.rail or "",
                line.state,
                tuple(
                    (round(s, 2), round(gap, 4))
                    for s, gap in zip(line.curve_s_mm, line.curve_gap_mm, strict=True)
                ),
                tuple((round(stop.position_mm, 2), stop.gap_mm) for stop in line.stops),
            )
            for line in lines
        ),
        tips=tuple(tips.items()),
        blades=tuple((blade.gap_mm, blade.label) for blade in blades),
        glass=tuple((round(n * per_number, 3), format_number(n, 0)) for n in numbers),
        gap_ticks=tuple(round(gap, 2) for gap in nice_ticks(0.0, high, 5)),
    )


def _line_as_read(measurement: Measurement, gauges: GaugesInUse) -> str:
    """The notebook line as read, where what the gauges truly were makes another of it."""
    read, used = write_line(measurement.recorded, gauges), write_line(measurement.facing, gauges)
    return read if read != used else ""


def list_card_photos(session: Session, job: Job) -> list[Photo]:
    """The photographs chosen for the card: what came in first, at most two."""
    photos = list_photos(session, job_id=job.id)
    chosen = [photo for photo in photos if photo.on_card and photo.struck_at is None]
    return order_photos(chosen)[:CARD_PHOTOS]


def order_photos(photos: list[Photo]) -> list[Photo]:
    """Put photographs in the order they were taken: at drop-off, at the bench, at return."""
    order = list(MOMENTS)
    return sorted(photos, key=lambda photo: (order.index(photo.moment), photo.id))


def describe_photo(photo: Photo) -> PaperPhoto:
    """Say what a paper needs of a photograph."""
    return PaperPhoto(
        f"photo-{photo.id}.svg",
        name_photo(photo.moment, photo.view, photo.caption),
        photo.width_px / photo.height_px,
    )


def draw_photo(book: Path, photo: Photo) -> str:
    """A photograph, small, as SVG; a bare frame if its file is gone."""
    return frame_photo(read_photo(book, photo, "small"), photo.width_px, photo.height_px)
