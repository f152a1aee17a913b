"""What a piece's full record holds: its owners, every reading set, every job."""

from sqlalchemy.orm import Session

from app.core.compare.cards import say_done
from app.core.facing.measurements import ROLES, GaugesInUse, write_line
from app.core.jobs.jobs import STAGES
from app.core.jobs.slips import (
    RecordJob,
    RecordPart,
    SlipPart,
)
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date, plural, shorten
from app.core.values.pieces import MATERIALS
from app.core.values.units import format_mm
from app.store.records.measurements import (
    Measurement,
    last_facing,
    list_measurements,
)
from app.store.records.passes import as_entry
from app.store.records.pieces import list_jobs_on
from app.store.records.shop import gauges_in_use
from app.store.tables import Job, Shop
from app.web.facing.summaries import summarise
from app.web.jobs.slip_subjects import Subject


def record_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the full record holds."""
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
