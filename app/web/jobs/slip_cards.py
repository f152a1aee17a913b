"""What the return card holds: the readings before and after, what was done, its photographs."""

from pathlib import Path

from fastapi import HTTPException
from sqlalchemy.orm import Session

from app.core.compare.cards import CardReadings, build_measured_part, say_done
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.gauges.sizes import Sized
from app.core.jobs.photos import MOMENTS, name_photo
from app.core.jobs.slips import (
    CardPart,
    CardPhoto,
    SlipPart,
)
from app.core.values.forms import shorten
from app.core.values.readings import Uncertainties
from app.render.photos import shrink_photo
from app.store.records.measurements import (
    Measurement,
)
from app.store.records.passes import as_entry
from app.store.records.photos import list_photos, read_photo
from app.store.records.shop import gauges_in_use
from app.store.tables import Job, Photo, Shop
from app.web.jobs.slip_subjects import Subject, before_after, job_of

DONE_LETTERS = 600


def card_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the return card holds."""
    del code
    job = job_of(subject)
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
        job.piece.instrument_kind,
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
                photo_file(one),
                name_photo(one.moment, one.view, one.caption),
                one.width_px / one.height_px,
            )
            for one in list_card_photos(session, job)
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


def list_card_photos(session: Session, job: Job) -> list[Photo]:
    """Give the photographs chosen for the card: what came in first, at most two."""
    chosen = [
        one for one in list_photos(session, job_id=job.id) if one.on_card and one.struck_at is None
    ]
    order = list(MOMENTS)
    return sorted(chosen, key=lambda one: (order.index(one.moment), one.id))[:2]


def photo_file(photo: Photo) -> str:
    """Name a photograph among a paper’s files."""
    return f"photo-{photo.id}.jpg"


def draw_photo(book: Path, photo: Photo) -> bytes:
    """Give a photograph at the size a paper has room for; 404 if its file is gone."""
    content = read_photo(book, photo)
    if content is None:
        raise HTTPException(404, "This photograph’s file is not in the book’s folder.")
    return shrink_photo(content)


def _uncertainties(before: Measurement | None, after: Measurement | None) -> Uncertainties:
    """Give what holds for the whole card: every reading brings its own, so it hardly matters."""
    told = after or before
    return told.uncertainties if told else Uncertainties()
