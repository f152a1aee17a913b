"""Old records brought in: which of them the book knows already, and keeping all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.core.shop.notebooks import NotebookRow
from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.records.customers import add_customer
from app.store.records.measurements import add_reading_set, list_measurements
from app.store.records.pieces import add_piece
from app.store.records.search import fold
from app.store.tables import Customer, Piece

PersonKey = tuple[str, str]
PieceKey = tuple[PersonKey, str, str, str, str, str]


@dataclass(frozen=True, slots=True)
class Known:
    """What the book has of a row: its customer, its piece, and whether its readings too.

    `twins`: two pieces of theirs fit, and the row doesn't say which. `also_of` names another owner
    under whom the table or the book has such a piece, and where.
    """

    customer_id: int | None
    piece_id: int | None
    has_readings: bool
    twins: bool = False
    also_of: str = ""


def _person(entry: CustomerEntry) -> PersonKey:
    return fold(entry.name), _digits(entry.phone)


def _digits(phone: str) -> str:
    return "".join(sign for sign in phone if sign.isdigit())


def _piece(person: PersonKey, entry: PieceEntry | Piece) -> PieceKey:
    stamped = (entry.maker, entry.model, entry.marking, entry.telling_marks)
    maker, model, marking, marks = (fold(words) for words in stamped)
    return person, entry.instrument_kind, maker, model, marking, marks


def find_known(session: Session, rows: Sequence[NotebookRow]) -> list[Known]:
    """Find what the book has of each row already; without a telephone the name decides.

    Two customers of one name without a telephone in the row count as neither: the row makes a
    new one.
    """
    people = _list_people(session)
    known = []
    stamped = _list_stamped(session)
    for row in rows:
        if row.customer is None or row.piece is None:
            known.append(Known(None, None, has_readings=False))
            continue
        customer_id = _find_customer(people, row.customer)
        fitting = _find_pieces(session, customer_id, row.piece) if customer_id else []
        piece = fitting[0] if len(fitting) == 1 else None
        has = bool(piece and row.readings and _has_set(session, piece.id, row))
        piece_id = piece.id if piece else None
        also_of = "" if piece_id else _find_elsewhere(row, customer_id, stamped)
        known.append(
            Known(customer_id, piece_id, has_readings=has, twins=len(fitting) > 1, also_of=also_of)
        )
    return known


Stamped = dict[tuple[str, ...], list[tuple[PersonKey | int | None, str]]]


def _list_stamped(session: Session) -> Stamped:
    """List who has a piece by what is stamped on it."""
    stamped: Stamped = {}
    pieces = select(Piece).where(Piece.joined_to_id.is_(None)).options(joinedload(Piece.owner))
    for piece in session.scalars(pieces):
        owner = (piece.owner_id, f"{piece.owner.name}, in the book")
        stamped.setdefault(_piece(("", ""), piece)[1:], []).append(owner)
    return stamped


def _find_elsewhere(row: NotebookRow, customer_id: int | None, stamped: Stamped) -> str:
    """Name another owner of a piece stamped alike, of the book or of a row before."""
    if row.customer is None or row.piece is None:
        return ""
    stamp = (row.piece.maker, row.piece.model, row.piece.marking)
    if sum(bool(part) for part in stamp) < 2:
        return ""
    whose = stamped.setdefault(_piece(("", ""), row.piece)[1:], [])
    person = _person(row.customer)
    also = next((where for who, where in whose if who not in {person, customer_id}), "")
    whose.append((person, f"{row.customer.name}, row {row.number}"))
    return also


def _list_people(session: Session) -> dict[str, list[tuple[str, int]]]:
    """List every customer's telephone and id by the folded name: SQLite folds only ASCII."""
    people: dict[str, list[tuple[str, int]]] = {}
    for customer_id, name, phone in session.execute(
        select(Customer.id, Customer.name, Customer.phone).where(Customer.joined_to_id.is_(None))
    ):
        people.setdefault(fold(name), []).append((_digits(phone), customer_id))
    return people


def _find_customer(
    people: Mapping[str, Sequence[tuple[str, int]]], entry: CustomerEntry
) -> int | None:
    name, phone = _person(entry)
    matching = [person_id for tel, person_id in people.get(name, ()) if not phone or tel == phone]
    return matching[0] if len(matching) == 1 else None


def _find_pieces(session: Session, owner_id: int, entry: PieceEntry) -> list[Piece]:
    wanted = _piece(("", ""), entry)
    owned = select(Piece).where(Piece.owner_id == owner_id, Piece.joined_to_id.is_(None))
    return [piece for piece in session.scalars(owned) if _piece(("", ""), piece) == wanted]


def _has_set(session: Session, piece_id: int, row: NotebookRow) -> bool:
    if row.readings is None:
        return False
    wanted = _told(row.readings.readings)
    return any(
        measurement.taken_on == row.readings.taken_on
        and measurement.role == row.readings.role
        and _told(measurement.readings) == wanted
        for measurement in list_measurements(session, piece_id)
    )


def _told(readings: Sequence[object]) -> set[tuple[object, ...]]:
    return {
        tuple(getattr(reading, name) for name in ("quantity", "rail", "gauge_id", "value_mm"))
        for reading in readings
    }


def keep_rows(
    session: Session, rows: Sequence[NotebookRow], today: date, now: datetime
) -> tuple[int, int, int]:
    """Keep every row, each customer and piece once; gives how many of each were new."""
    people: dict[PersonKey, int] = {}
    pieces: dict[PieceKey, int] = {}
    made = [0, 0, 0]
    for row, known in zip(rows, find_known(session, rows), strict=True):
        if row.customer is None or row.piece is None:
            raise ValueError("a row with problems can't be kept")
        person = _person(row.customer)
        if person not in people:
            if known.customer_id is None:
                made[0] += 1
            people[person] = known.customer_id or add_customer(session, row.customer, now).id
        key = _piece(person, row.piece)
        if key not in pieces:
            since = row.readings.taken_on if row.readings else today
            if known.piece_id is None:
                made[1] += 1
            pieces[key] = (
                known.piece_id or add_piece(session, people[person], row.piece, since, now).id
            )
        if row.readings and row.gauges and not known.has_readings:
            add_reading_set(session, row.readings, pieces[key], None, row.gauges, now)
            made[2] += 1
    return made[0], made[1], made[2]
