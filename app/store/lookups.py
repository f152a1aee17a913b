"""Finding anything by any part of it, whatever the case, the accents and the order of words."""

import re
import unicodedata

from sqlalchemy import ColumnElement, Select, and_, select
from sqlalchemy.orm import InstrumentedAttribute, Session, joinedload, selectinload

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


def _contains_all(column: InstrumentedAttribute[str], words: list[str]) -> ColumnElement[bool]:
    return and_(*(column.contains(word, autoescape=True) for word in words))


def find_customers(session: Session, query: str, most: int = MOST) -> list[Customer]:
    """Find customers whose name, telephone, e-mail or address has every word of the query."""
    words = split_words(query)
    if not words:
        return []
    return list(
        session.scalars(_customers().where(_contains_all(Customer.search_text, words)).limit(most))
    )


def _customers() -> Select[Customer]:
    return (
        select(Customer).options(selectinload(Customer.pieces)).order_by(Customer.name, Customer.id)
    )


def find_pieces(session: Session, query: str, most: int = MOST) -> list[Piece]:
    """Find pieces by what is stamped on them, their marks, or their owner's name."""
    words = split_words(query)
    if not words:
        return []
    owner_or_piece = [
        Piece.search_text.contains(word, autoescape=True)
        | Customer.search_text.contains(word, autoescape=True)
        for word in words
    ]
    return list(
        session.scalars(
            select(Piece)
            .join(Piece.owner)
            .where(and_(*owner_or_piece))
            .options(joinedload(Piece.owner))
            .order_by(Piece.id.desc())
            .limit(most)
        )
    )


def find_jobs(session: Session, query: str, most: int = MOST) -> list[Job]:
    """Find jobs by number, or by their customer's or piece's words."""
    words = split_words(query)
    if not words:
        return []
    number = re.fullmatch(r"\s*(?:job|no\.?|#)?\s*(\d{1,9})\s*", query, re.IGNORECASE)
    matches = [
        Piece.search_text.contains(word, autoescape=True)
        | Customer.search_text.contains(word, autoescape=True)
        for word in words
    ]
    condition = and_(*matches)
    if number:
        condition = condition | (Job.number == int(number.group(1)))
    found = list(
        session.scalars(
            select(Job)
            .join(Job.piece)
            .join(Job.customer)
            .where(condition)
            .options(joinedload(Job.piece), joinedload(Job.customer))
            .order_by(Job.number.desc())
            .limit(most)
        )
    )
    if number:
        found.sort(key=lambda job: job.number != int(number.group(1)))
    return found
