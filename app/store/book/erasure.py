"""A customer who asks to be forgotten: the person goes, what was measured stays.

Everything is struck in one transaction, which also writes down when, and how much in counts. Then
the photographs' files are removed and the database's file is written anew (`finish_forgetting`):
SQLite leaves deleted words in free pages, in its log and in the search indexes until then.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Engine, delete, func, or_, select, text, update
from sqlalchemy.orm import Session, joinedload, selectinload, undefer

from app.core.jobs.stages import STAGES
from app.core.shop.erasure import (
    FORGOTTEN_EVENT,
    FORGOTTEN_NAME,
    Marks,
    Person,
    make_marks,
    strike_page,
    strike_values,
)
from app.store.book.naming_texts import (
    Texts,
    drop_revisions,
    find_drafts,
    find_texts,
    hinted,
    jobs_of,
    pieces_of,
    strike_texts,
)
from app.store.book.opening import clear_left_over
from app.store.engines import engine_kind
from app.store.problems import BookProblem
from app.store.records.jobs import add_event
from app.store.records.keeping import keep
from app.store.records.memos import list_awaited
from app.store.records.photos import SIZES, photo_path
from app.store.records.revisions import list_revisions
from app.store.records.search import search_text_of
from app.store.records.shop import get_shop
from app.store.tables import (
    Customer,
    Draft,
    Forgetting,
    Instrument,
    Job,
    Memo,
    Photo,
    Piece,
    ReadingSet,
    Slip,
    SlipFile,
)

_PDF = "paper.pdf"
_INDEXES = ("customer_search", "piece_search", "job_search")


@dataclass(frozen=True, slots=True)
class Paper:
    """An issued paper, and whether it is about the person or only names them."""

    slip: Slip
    own: bool


@dataclass(frozen=True, slots=True)
class Removal:
    """What forgetting a customer would remove and keep."""

    customer: Customer
    marks: Marks
    texts: Texts
    drafts: Sequence[str]
    papers: Sequence[Paper]
    photos: Sequence[Photo]
    earlier: int
    jobs: Sequence[Job]
    reading_sets: int
    pieces: int
    hindrance: str


def get_forgetting(session: Session, customer_id: int) -> Forgetting | None:
    """Say when a customer was forgotten, if they were."""
    return session.scalar(select(Forgetting).where(Forgetting.customer_id == customer_id))


def plan_removal(session: Session, customer: Customer) -> Removal:
    """Gather all that names a customer; nothing is changed."""
    jobs = list(
        session.scalars(
            select(Job)
            .where(Job.customer_id == customer.id)
            .options(joinedload(Job.customer))
            .order_by(Job.number)
        )
    )
    marks = _marks_of(session, customer)
    pieces = pieces_of(customer.id)
    sets = select(func.count()).where(
        or_(ReadingSet.job_id.in_(jobs_of(customer.id)), ReadingSet.piece_id.in_(pieces))
    )
    return Removal(
        customer=customer,
        marks=marks,
        texts=find_texts(session, customer.id, marks),
        drafts=find_drafts(session, customer.id, marks),
        papers=_find_papers(session, customer, marks),
        photos=_find_photos(session, customer),
        earlier=sum(
            len(list_revisions(session, "customer", record.id))
            for record in records_of(session, customer)
        ),
        jobs=jobs,
        reading_sets=session.scalar(sets) or 0,
        pieces=session.scalar(select(func.count()).where(Piece.id.in_(pieces))) or 0,
        hindrance=_hindrance(session, customer, jobs),
    )


def _hindrance(session: Session, customer: Customer, jobs: Sequence[Job]) -> str:
    if get_shop(session).customer_id == customer.id:
        return "This is the shop itself, as the owner of the pieces that it makes."
    if any(memo.customer_id == customer.id for memo in list_awaited(session)):
        return "They have a piece of yours on trial. Note it home, or sold, first."
    still = [str(job.number) for job in jobs if STAGES[job.stage].open]
    if still:
        return (
            f"A piece of theirs is still here (job {', '.join(still)}). Give it back first: until "
            "then the book must know whose it is."
        )
    return ""


def records_of(session: Session, customer: Customer) -> list[Customer]:
    """List a customer's record and those that were made one with it."""
    records = [customer]
    for memo in records:
        joined = select(Customer).where(Customer.joined_to_id == memo.id)
        records += session.scalars(joined).all()
    return records


def _person_of(session: Session, customer: Customer) -> Person:
    """Gather what the book knows a customer by, now and before, whatever record was theirs."""
    records = records_of(session, customer)
    earlier = [
        revision.before
        for each in records
        for revision in list_revisions(session, "customer", each.id)
    ]

    def all_of(name: str) -> tuple[str, ...]:
        values = [getattr(record, name) for record in records]
        values += [str(text.get(name) or "") for text in earlier]
        return tuple(dict.fromkeys(value for value in values if value.strip()))

    return Person(all_of("name"), all_of("phone"), all_of("email"), all_of("address"))


def _marks_of(session: Session, customer: Customer) -> Marks:
    person = _person_of(session, customer)
    own = [record.id for record in records_of(session, customer)]
    others = select(Customer.name).where(Customer.id.not_in(own))
    names = {" ".join(name.casefold().split()): name for name in person.names}
    shared = [
        names[folded]
        for other in session.scalars(others)
        if (folded := " ".join(other.casefold().split())) in names
    ]
    return make_marks(person, shared)


def _find_papers(session: Session, customer: Customer, marks: Marks) -> list[Paper]:
    """List the papers issued about the customer's jobs and pieces, and others that name them."""
    is_own = or_(
        Slip.job_id.in_(jobs_of(customer.id)),
        Slip.job_id.is_(None) & Slip.piece_id.in_(pieces_of(customer.id)),
    )
    slips = session.execute(
        select(Slip, is_own)
        .where(or_(is_own, hinted(Slip.__table__.c.html, marks.hints)))
        .options(undefer(Slip.printed), undefer(Slip.html), selectinload(Slip.files))
        .order_by(Slip.number)
        .execution_options(populate_existing=True)
    )
    papers = [Paper(slip, bool(own)) for slip, own in slips]
    return [paper for paper in papers if paper.own or _names(paper.slip, marks)]


def _names(slip: Slip, marks: Marks) -> bool:
    pattern = marks.elsewhere
    return (
        strike_page(slip.html, pattern) != slip.html
        or strike_values(slip.printed, pattern) != slip.printed
    )


def _find_photos(session: Session, customer: Customer) -> list[Photo]:
    wanted = or_(
        Photo.job_id.in_(jobs_of(customer.id)),
        Photo.job_id.is_(None) & Photo.piece_id.in_(pieces_of(customer.id)),
    )
    return list(session.scalars(select(Photo).where(wanted).order_by(Photo.id)))


def forget_customer(
    session: Session, removal: Removal, *, with_photos: bool, today: date, now: datetime
) -> Forgetting:
    """Remove the person from the book; what was measured stays. It can't be undone."""
    customer = removal.customer
    photos = removal.photos if with_photos else ()
    for paper in removal.papers:
        _strike_paper(session, paper, removal, today, with_photos=with_photos)
    strike_texts(session, removal.texts)
    session.execute(delete(Draft).where(Draft.place.in_(removal.drafts)))
    for record in records_of(session, customer):
        drop_revisions(session, record.id)
        _empty_customer(record)
    instruments = list(
        session.scalars(select(Instrument).where(Instrument.customer_id == customer.id))
    )
    for instrument in instruments:
        instrument.maker = instrument.model = ""
    for photo in photos:
        session.delete(photo)
    theirs = or_(Memo.job_id.in_(jobs_of(customer.id)), Memo.customer_id == customer.id)
    written_to_them = Memo.kind.in_(
        ("message", "parcel")
    )  # what was written to them, and where it went
    session.execute(update(Memo).where(theirs, written_to_them).values(details={}))
    to_ask = Memo.kind == "asking", Memo.done_on.is_(None), Memo.struck_at.is_(None)
    session.execute(update(Memo).where(theirs, *to_ask).values(struck_at=now))
    for job in removal.jobs:
        job.tracking = ""
        add_event(session, job, "note", today, now, FORGOTTEN_EVENT)
    _renew_pieces(session, removal.texts)
    forgetting = keep(
        session,
        Forgetting(
            customer_id=customer.id,
            at=now,
            removed=_count(removal, instruments, photos),
            files_left=[photo.name for photo in photos],
        ),
    )
    if engine_kind(session.get_bind()).has_lines:
        for index in _INDEXES:  # words that were struck stay in an index until it is made small
            session.execute(text(f"INSERT INTO {index}({index}) VALUES('optimize')"))
    return forgetting


def _count(
    removal: Removal, instruments: Sequence[Instrument], photos: Sequence[Photo]
) -> dict[str, int]:
    return {
        "texts": len(removal.texts.struck),
        "papers": len(removal.papers),
        "earlier_words": removal.earlier,
        "instruments": len(instruments),
        "drafts": len(removal.drafts),
        "photographs": len(photos),
    }


def _empty_customer(customer: Customer) -> None:
    customer.name = FORGOTTEN_NAME
    customer.phone = customer.email = customer.address = customer.plays = customer.notes = ""
    customer.search_text = search_text_of(customer)
    customer.version += 1


def _renew_pieces(session: Session, texts: Texts) -> None:
    """Make the words anew that changed pieces are found by."""
    changed = {
        text_struck.key["id"] for text_struck in texts.struck if text_struck.table == "piece"
    }
    for piece_id in changed:
        piece = session.get_one(Piece, piece_id)
        session.refresh(piece)
        piece.search_text = search_text_of(piece)


def _strike_paper(
    session: Session, paper: Paper, removal: Removal, today: date, *, with_photos: bool
) -> None:
    """Keep a paper again without the person; its pages, its PDF and what shows them go."""
    slip, pattern = paper.slip, removal.marks.elsewhere
    if paper.own:
        person = _person_of(session, removal.customer)
        pattern = make_marks(person, more=_printed_of(slip.printed)).own
    slip.html = strike_page(slip.html, pattern)
    slip.printed = strike_values(slip.printed, pattern) | {"struck_out_on": today.isoformat()}
    for file in list(slip.files):
        shows = file.name.endswith(".jpg") and with_photos
        tells = file.name.endswith(".svg") and pattern.search(file.content.decode(errors="replace"))
        if file.name == _PDF or file.name.endswith(".svgz") or shows or tells:
            session.execute(
                delete(SlipFile).where(SlipFile.slip_id == slip.id, SlipFile.name == file.name)
            )


def _printed_of(printed: Mapping[str, object]) -> list[str]:
    """List what a paper about the person printed of them, beyond what the book says today."""
    texts: list[object] = []
    common, part = printed.get("common"), printed.get("part")
    if isinstance(common, dict) and common.get("job_number"):
        texts += [
            common.get("customer"),
            common.get("played_on"),
            *_lines(common, "customer_lines"),
        ]
    if isinstance(part, dict):
        texts += _lines(part, "address")
    return [text for text in texts if isinstance(text, str)]


def _lines(values: Mapping[str, object], name: str) -> list[object]:
    lines = values.get(name)  # on a tag, the address is the code's
    return lines if isinstance(lines, list) else []


def finish_forgetting(engine: Engine, book: Path, forgetting: Forgetting, now: datetime) -> str:
    """Remove what is left outside the records; says what could not be done, or nothing.

    Raises nothing that would lose the record of it: it can be done again until it is finished.
    """
    try:
        for name in forgetting.files_left:
            for size in SIZES:
                photo_path(book, name, size).unlink(missing_ok=True)
        clear_left_over(book)
    except (OSError, BookProblem):
        return "Not every photograph's file could be removed."
    if not write_anew(engine):
        return "The database's file could not be written anew; others were reading it."
    forgetting.files_left = []
    forgetting.finished_at = now
    return ""


def write_anew(engine: Engine) -> bool:
    """Write the database's files anew, so that nothing in them holds what was removed."""
    return engine_kind(engine).write_anew(engine)
