"""What a piece's full record holds: owners, every reading set, every job, every photograph."""

from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.core.compare.length_words import label_reading, show_reading
from app.core.facing.measurements import ROLES, GaugesInUse, write_line
from app.core.jobs.jobs import OUTCOMES, RETURN_WAYS
from app.core.jobs.memos import MEMO_KINDS, tell_memo
from app.core.jobs.slips import RecordJob, RecordPart, Rows, SlipPart
from app.core.jobs.stages import STAGES
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date, format_money, plural, short_date
from app.core.values.lengths import is_length
from app.core.values.pieces import MATERIALS
from app.core.values.units import format_mm
from app.store.records.charges import account_of
from app.store.records.measurements import Measurement, last_facing, list_measurements, standing
from app.store.records.memos import list_memos
from app.store.records.passes import standing_passes
from app.store.records.photos import list_photos
from app.store.records.pieces import list_jobs_on
from app.store.records.shop import gauges_in_use
from app.store.tables import Job, Memo, Photo, Piece, Shop
from app.web.facing.pictures import compare_picture
from app.web.facing.summaries import summarise
from app.web.jobs.slip_cards import describe_photo, maker_picture, order_photos
from app.web.jobs.slip_jobs import tell_passes
from app.web.jobs.slip_subjects import Printing, Subject, list_ticked, say_condition


def record_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the full record holds."""
    del printing
    piece, gauges = subject.piece, gauges_in_use(session)
    measurements = list_measurements(session, piece.id)
    last = last_facing(measurements)
    photos = list_record_photos(session, piece)
    jobs = list(reversed(list_jobs_on(session, piece.id)))
    memos = [memo for memo in reversed(list_memos(session, piece)) if memo.struck_at is None]
    drawn = [read for read in standing(measurements) if read.facing.left or read.facing.right][-2:]
    facings = [None, None, *(read.facing for read in drawn)][-2:]
    return RecordPart(
        facts=_piece_facts(piece),
        owners=tuple((format_date(owner.since), owner.customer.name) for owner in piece.ownerships),
        last=f"Last: {write_line(last.recorded, gauges)}" if last else "",
        counted=gauges.counted,
        readings=tuple(_record_line(measurement, gauges, shop) for measurement in measurements),
        lengths=tuple(row for measurement in measurements for row in _length_lines(measurement)),
        picture=maker_picture(compare_picture(facings[0], facings[1], gauges)),
        jobs=tuple(_record_job(session, job, shop, photos, memos) for job in jobs),
        photos=tuple(describe_photo(photo) for photo in photos if photo.job_id is None),
        memos=tuple(_memo_row(memo) for memo in memos if memo.job_id is None),
    )


def _memo_row(memo: Memo) -> tuple[str, ...]:
    kind = MEMO_KINDS[memo.kind]
    rows = tell_memo(kind, memo.details)
    if memo.due:
        rows.append((kind.due, format_date(memo.due)))
    words = "\n".join(f"{label}: {words}" for label, words in rows)
    return short_date(memo.on), kind.label, words


def list_record_photos(session: Session, piece: Piece) -> list[Photo]:
    """All of a piece's photographs that were not taken off its pages."""
    photos = list_photos(session, piece_id=piece.id)
    return order_photos([photo for photo in photos if photo.struck_at is None])


def _piece_facts(piece: Piece) -> Rows:
    length = f"{format_mm(piece.table_length_mm, 1)} mm" if piece.table_length_mm else ""
    return (
        ("For", INSTRUMENT_KINDS[piece.instrument_kind]),
        ("Material", MATERIALS[piece.material]),
        ("Maker", piece.maker),
        ("Model", piece.model),
        ("Marking", piece.marking),
        ("Told apart by", piece.telling_marks),
        ("Table length", length),
        ("Notes", piece.notes),
    )


def _record_line(measurement: Measurement, gauges: GaugesInUse, shop: Shop) -> tuple[str, ...]:
    summary = summarise(measurement, gauges, shop)
    role = ROLES[measurement.role]
    if measurement.replaced_by_id:
        role += ", replaced by a correction"
    elif measurement.replaces_id:
        role += f", corrected: {measurement.replaces_why}"
    if measurement.note:
        role += f"\n{measurement.note}"
    length = summary.facing_length_mm
    return (
        short_date(measurement.taken_on),
        role,
        summary.line
        + (f" (by true sizes {summary.corrected_line})" if summary.corrected_line else ""),
        "–" if length is None else f"{format_mm(length)} mm",
        summary.evenness,
        str(measurement.job_number or ""),
    )


def _length_lines(measurement: Measurement) -> Rows:
    """List what else was read on that day: bore, dial, other lengths, as typed and in mm."""
    return tuple(
        (short_date(measurement.taken_on), label_reading(reading), show_reading(reading))
        for reading in measurement.readings
        if reading.quantity in {"bore", "dial"} or is_length(reading)
    )


def _record_job(
    session: Session, job: Job, shop: Shop, photos: Sequence[Photo], memos: Sequence[Memo]
) -> RecordJob:
    passes = tell_passes(job, struck=True)
    complaints = ", ".join(
        f"{tick.label} ({OUTCOMES[tick.outcome]} after the work)" if tick.outcome else tick.label
        for tick in job.ticks
        if tick.kind == "complaint"
    )
    total = format_money(account_of(session, [job]).total_minor, shop.currency)
    return RecordJob(
        heading=f"Job {job.number}, {format_date(job.dropped_off)}, {job.customer.name}: "
        f"{STAGES[job.stage].label}, {plural(len(standing_passes(job)), 'pass', 'passes')}",
        facts=(
            ("Asked for", job.request),
            ("Wrong with it", complaints),
            ("Agreed", job.agreed_work),
            ("Condition", say_condition(job)),
            ("Came with", list_ticked(job, "came_with")),
            ("Found", list_ticked(job, "finding")),
            ("Price", total),
            ("Returned", f"{RETURN_WAYS[job.return_by]}, {format_date(job.returned_on)}")
            if job.returned_on
            else ("Returned", ""),
        ),
        passes=passes,
        history=tuple((short_date(event.on), event.words) for event in job.events),
        photos=tuple(describe_photo(photo) for photo in photos if photo.job_id == job.id),
        memos=tuple(_memo_row(memo) for memo in memos if memo.job_id == job.id),
    )
