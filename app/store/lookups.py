"""Finding anything by any part of it, whatever the case, the accents and the order of words."""

import re
import unicodedata

from sqlalchemy import CompoundSelect, Integer, Select, literal_column, select, table, union
from sqlalchemy.orm import Session, joinedload, selectinload

from app.store.tables import Customer, Job, Piece

_LETTERS = str.maketrans({"ß": "ss", "ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i",
                          "ð": "d", "þ": "th", "♭": "b", "♯": "#"})  # fmt: skip
MOST = 30


def fold(text: str) -> str:
    """Fold case and accents away: Müller and MULLER become one word."""
    apart = unicodedata.normalize("NFKD", text.casefold().translate(_LETTERS))
    plain = "".join(char for char in apart if not unicodedata.combining(char))
    return plain.translate(_LETTERS)


def searchable(*parts: str) -> str:
    """Make the text a record is found by; telephone numbers stand in it without spaces too."""
    folded = " ".join(" ".join(fold(part).split()) for part in parts if part)
    digits = [re.sub(r"\D", "", part) for part in parts if len(re.sub(r"\D", "", part)) >= 5]
    return " ".join([folded, *digits])


def split_words(query: str) -> list[str]:
    """Split a query into folded words; one made only of a telephone's signs loses its spaces."""
    if re.fullmatch(r"\s*\+?[\d\s()/.-]{5,}", query) and len(re.sub(r"\D", "", query)) >= 5:
        return [re.sub(r"\D", "", query)]
    return fold(query).split()[:8]


def _having(session: Session, noun: str, word: str) -> Select[int]:
    """Select the ids of customers or pieces whose search text has a word anywhere in it.

    On SQLite words of three letters and more are found by the trigram index, which triggers keep
    up to date; shorter ones, and other databases, by looking through the texts.
    """
    record: type[Customer | Piece] = Customer if noun == "customer" else Piece
    if session.get_bind().dialect.name == "sqlite" and len(word) >= 3:
        quoted = '"' + word.replace('"', '""') + '"'
        index = table(f"{noun}_search")
        return (
            select(literal_column("rowid", Integer))
            .select_from(index)
            .where(literal_column(f"{noun}_search").op("MATCH")(quoted))
        )
    return select(record.id).where(record.search_text.contains(word, autoescape=True))


def find_customers(session: Session, query: str, most: int = MOST) -> list[Customer]:
    """Find customers whose name, telephone, e-mail or address has every word of the query."""
    words = split_words(query)
    if not words:
        return []
    return list(
        session.scalars(
            select(Customer)
            .where(*(Customer.id.in_(_having(session, "customer", word)) for word in words))
            .options(selectinload(Customer.pieces))
            .order_by(Customer.search_text, Customer.id)
            .limit(most)
        )
    )


def find_pieces(session: Session, query: str, most: int = MOST) -> list[Piece]:
    """Find pieces by what is stamped on them, their marks, or their owner's name."""
    words = split_words(query)
    if not words:
        return []
    return list(
        session.scalars(
            select(Piece)
            .where(*(Piece.id.in_(_pieces_with(session, word)) for word in words))
            .options(joinedload(Piece.owner))
            .order_by(Piece.id.desc())
            .limit(most)
        )
    )


def _pieces_with(session: Session, word: str) -> CompoundSelect[int]:
    owned = select(Piece.id).where(Piece.owner_id.in_(_having(session, "customer", word)))
    return union(_having(session, "piece", word), owned)


def find_jobs(session: Session, query: str, most: int = MOST) -> list[Job]:
    """Find jobs by number, or by their customer's or piece's words."""
    words = split_words(query)
    if not words:
        return []
    found: list[Job] = []
    if number := re.fullmatch(r"\s*(?:job|no\.?|#)?\s*([0-9]{1,9})\s*", query, re.IGNORECASE):
        found = list(session.scalars(_jobs().where(Job.number == int(number.group(1)))))
    matching = (
        _jobs()
        .where(*(Job.id.in_(_jobs_with(session, word)) for word in words))
        .order_by(Job.number.desc())
        .limit(most)
    )
    return list(dict.fromkeys([*found, *session.scalars(matching)]))[:most]


def _jobs() -> Select[Job]:
    return select(Job).options(joinedload(Job.piece), joinedload(Job.customer))


def _jobs_with(session: Session, word: str) -> CompoundSelect[int]:
    by_piece = select(Job.id).where(Job.piece_id.in_(_having(session, "piece", word)))
    by_customer = select(Job.id).where(Job.customer_id.in_(_having(session, "customer", word)))
    return union(by_piece, by_customer)
