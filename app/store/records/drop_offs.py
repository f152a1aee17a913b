"""Taking a drop-off in: customer, pieces, instrument, a job for each piece, in one act."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from app.core.jobs.charges import ChargeEntry
from app.core.jobs.drop_offs import DropOff, JobEntry, PieceDrop
from app.core.jobs.jobs import CORK_LINES, NO_CORK
from app.core.jobs.services import price_of
from app.core.jobs.stages import EXPECTED, STAGES
from app.core.values.customers import INSTRUMENT_KINDS, CustomerEntry, InstrumentEntry, has_tenon
from app.core.values.pieces import MATERIALS, PieceEntry, name_piece
from app.store.records.charges import add_charge
from app.store.records.customers import add_customer, add_instrument, get_customer
from app.store.records.jobs import add_job, find_open_job
from app.store.records.pieces import add_piece, get_piece, pass_on_piece
from app.store.records.services import offered_services
from app.store.tables import Instrument, Job, Piece


class Unknown(Exception):  # noqa: N818 - shown to the maker beside the field
    """A record chosen on the page is not in the book (any more), or can't be taken in."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


def take_in(session: Session, drop: DropOff, now: datetime) -> Job:
    """Write down a whole drop-off and give its first job; the others name it as their order.

    Raises Unknown if a chosen record is not there, a piece belongs to somebody else or is here
    already, or a service has no price for a piece.
    """
    customer_id = _settle_customer(session, drop.customer, now)
    instrument = _settle_instrument(session, drop.instrument, customer_id)
    jobs: list[Job] = []
    for at, dropped in enumerate(drop.pieces):
        entry = drop.job_of(at)
        piece = _settle_piece(session, dropped, customer_id, entry, now)
        horn = instrument
        if horn and len(drop.pieces) > 1 and horn.kind != piece.instrument_kind:
            horn = None
        order_id = jobs[0].id if jobs else None
        job = add_job(
            session, entry, customer_id, piece.id, horn.id if horn else None, order_id, now=now
        )
        _charge_services(session, job, piece, drop.services, now)
        jobs.append(job)
    return jobs[0]


def _settle_customer(session: Session, chosen: int | CustomerEntry, now: datetime) -> int:
    if isinstance(chosen, CustomerEntry):
        return add_customer(session, chosen, now).id
    if get_customer(session, chosen) is None:
        raise Unknown("customer", "That customer is not in the book.")
    return chosen


def _settle_piece(
    session: Session, drop: PieceDrop, customer_id: int, entry: JobEntry, now: datetime
) -> Piece:
    on = entry.dropped_off
    if isinstance(drop.piece, PieceEntry):
        piece = add_piece(session, customer_id, drop.piece, on, now)
    else:
        piece = _find_piece(session, drop, drop.piece, customer_id)
        if piece.owner_id != customer_id:
            pass_on_piece(session, piece, customer_id, on, None, now)
    lines = {label for _, label in entry.ticks}
    if not has_tenon(piece.instrument_kind) and lines & CORK_LINES:
        raise Unknown("condition", NO_CORK)
    return piece


def _find_piece(session: Session, drop: PieceDrop, piece_id: int, customer_id: int) -> Piece:
    piece = get_piece(session, piece_id)
    if piece is None or piece.joined_to_id:
        raise Unknown("piece", "That piece is not in the book. Choose again.")
    if piece.owner_id != customer_id and not drop.passes_on:
        raise Unknown("piece", "That piece is not this customer's. Choose again.")
    if job := find_open_job(session, piece.id):
        name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
        where = "is expected" if job.stage == EXPECTED else "is here"
        raise Unknown(
            "piece",
            f"{name} {where} already: job {job.number}, {STAGES[job.stage].label}. Go on with that "
            "job, or say there first that it went home. A piece is in one order at a time.",
        )
    return piece


def _settle_instrument(
    session: Session, chosen: int | InstrumentEntry | None, customer_id: int
) -> Instrument | None:
    if isinstance(chosen, InstrumentEntry):
        return add_instrument(session, customer_id, chosen)
    if chosen is None:
        return None
    instrument = session.get(Instrument, chosen)
    if instrument is None or instrument.customer_id != customer_id:
        raise Unknown("instrument", "That instrument is not this customer's. Choose again.")
    return instrument


def _charge_services(
    session: Session,
    job: Job,
    piece: Piece,
    labels: Sequence[str],
    now: datetime,
) -> None:
    """Write what was picked from the price list on the job's bill."""
    services, today = offered_services(session) if labels else [], now.astimezone().date()
    for label in labels:
        service = price_of(services, label, piece.instrument_kind, piece.material)
        if service is None:
            kind, material = INSTRUMENT_KINDS[piece.instrument_kind], MATERIALS[piece.material]
            raise Unknown(
                "service",
                f"“{label}” has no price for a piece of a {kind}, {material}. Write one in the "
                "price list, or untick it and write the price below.",
            )
        add_charge(session, job, ChargeEntry(service.label, service.price_minor, today), now)
