"""Finding anything by any part of it, whatever the case, the accents and the order of words.

Each kind of record is found in one line of folded text: a customer by their own words, a piece by
its own and its owner's, a job by its piece's and its customer's. On SQLite these lines stand in
trigram indexes whose rows are numbered as results are listed, so that the newest few come out
without looking at the rest, however many fit. Customers are listed by name instead: where many
fit, the names are walked in their order until enough are found; where few do, those are sorted.

A word of one or two letters has no trigram. Most such words are everywhere, so the newest records
are looked through first; one that is rare is looked for among customers and pieces themselves.

The lines of pieces and jobs are written by `index_changes` at every flush, in the transaction that
changes what they are made from; `rebuild_index` writes all of them anew.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Connection,
    TextClause,
    bindparam,
    inspect,
    select,
    text,
)
from sqlalchemy.orm import Session, joinedload, load_only

from app.store.loading import rows_of
from app.store.tables import Customer, Job, Piece

_LETTERS = str.maketrans({"ß": "ss", "ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i",
                          "ð": "d", "þ": "th", "♭": "b", "♯": "#", "\0": " "})  # fmt: skip
MOST = 30
FEW = 500  # so many are sorted at once rather than walked through
NEWEST = 5000  # among so many a short word that is not rare is found often enough


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


# A word holds no white space, so none can be found across the line break between two texts.
_LINES = {
    "piece_search": (
        "SELECT piece.id, piece.search_text || char(10) || customer.search_text "
        "FROM piece JOIN customer ON customer.id = piece.owner_id"
    ),
    "job_search": (
        "SELECT job.number, customer.search_text || char(10) || piece.search_text "
        "FROM job JOIN customer ON customer.id = job.customer_id "
        "JOIN piece ON piece.id = job.piece_id"
    ),
}


@dataclass(frozen=True, slots=True)
class _Made:
    """From which columns a record's line, and the lines of others, are made."""

    columns: tuple[str, ...]
    lines: tuple[tuple[str, str], ...]  # an index, and which of its lines hang on the record


_MADE_FROM: dict[type[Any], _Made] = {
    Customer: _Made(
        ("search_text",),
        (("piece_search", "piece.owner_id"), ("job_search", "job.customer_id")),
    ),
    Piece: _Made(
        ("search_text", "owner_id"), (("piece_search", "piece.id"), ("job_search", "job.piece_id"))
    ),
    Job: _Made(("customer_id", "piece_id"), (("job_search", "job.id"),)),
}


def index_changes(session: Session, _context: object) -> None:
    """Write the lines anew that hang on what this flush wrote; listens to `after_flush`."""
    if not _has_index(session):
        return
    for record in (*session.new, *session.dirty):
        made = _MADE_FROM.get(type(record))
        if made is None:
            continue
        if record in session.new or _any_changed(record, made.columns):
            for index, column in made.lines:
                _write_lines(session.connection(), index, f"WHERE {column} = :id", id=record.id)
    for record in session.deleted:
        if isinstance(record, Piece):
            session.execute(text("DELETE FROM piece_search WHERE rowid = :id"), {"id": record.id})
        if isinstance(record, Job):
            session.execute(
                text("DELETE FROM job_search WHERE rowid = :number"), {"number": record.number}
            )


def _any_changed(record: object, columns: Iterable[str]) -> bool:
    state = inspect(record, raiseerr=True)
    return any(state.attrs[name].history.has_changes() for name in columns)


def _write_lines(connection: Connection, index: str, where: str = "", **given: int) -> None:
    connection.execute(
        text(f"INSERT OR REPLACE INTO {index}(rowid, search_text) {_LINES[index]} {where}"),
        given,
    )


def rebuild_index(connection: Connection) -> None:
    """Write every line of the pieces' and jobs' indexes anew."""
    for index in _LINES:
        connection.execute(text(f"DELETE FROM {index}"))  # noqa: S608 - our own names
        _write_lines(connection, index)


def _has_index(session: Session) -> bool:
    return session.get_bind().dialect.name == "sqlite"


def _matching(index: str, words: Sequence[str]) -> tuple[str, dict[str, str]]:
    """Write the condition that a line of an index has every word, and its values."""
    long = [word for word in words if len(word) >= 3]
    given = {f"word{at}": word for at, word in enumerate(words) if len(word) < 3}
    conditions = [f"instr(search_text, :{name}) > 0" for name in given]
    if long:
        conditions.insert(0, f"{index} MATCH :long")
        given["long"] = " AND ".join('"' + word.replace('"', '""') + '"' for word in long)
    return " AND ".join(conditions), given


_FOUND: BindParameter[Any] = bindparam("found", expanding=True)


@lru_cache(maxsize=64)  # one for each pattern of long and short words
def _prepare(statement: str) -> TextClause:
    return text(statement)


def _newest(session: Session, index: str, words: Sequence[str], most: int) -> list[int] | None:
    """Give the row numbers of the newest lines that have every word.

    None if all words are short and too rare to be found among the newest lines.
    """
    condition, given = _matching(index, words)
    if "long" not in given:
        condition += f" AND rowid > (SELECT max(rowid) FROM {index}) - {NEWEST}"  # noqa: S608
    found = rows_of(
        session,
        _prepare(f"SELECT rowid FROM {index} WHERE {condition} ORDER BY rowid DESC LIMIT :most"),  # noqa: S608
        {**given, "most": most},
    )
    numbers = list(found.scalars())
    return numbers if "long" in given or len(numbers) == most else None


def find_customers(session: Session, query: str, most: int = MOST) -> list[Customer]:
    """Find customers whose name, telephone, e-mail or address has every word, by name."""
    words = split_words(query)
    if not words:
        return []
    having = _all_in(words, Customer)
    if _has_index(session) and any(len(word) >= 3 for word in words):
        condition, given = _matching("customer_search", words)
        ids = f"SELECT rowid FROM customer_search WHERE {condition} LIMIT {FEW}"  # noqa: S608
        found = list(rows_of(session, _prepare(ids), given).scalars())
        if len(found) < FEW:
            return list(session.scalars(_CUSTOMERS, {"found": found, "most": most}))
    return list(
        session.scalars(
            select(Customer).where(*having).order_by(Customer.search_text, Customer.id).limit(most)
        )
    )


_CUSTOMERS = (
    select(Customer)
    .where(Customer.id.in_(_FOUND))
    .order_by(Customer.search_text, Customer.id)
    .limit(bindparam("most"))
)


def _all_in(words: Sequence[str], record: type[Customer | Piece]) -> list[ColumnElement[bool]]:
    return [record.search_text.contains(word, autoescape=True) for word in words]


def find_pieces(session: Session, query: str, most: int = MOST) -> list[Piece]:
    """Find pieces by what is stamped on them, their marks, or their owner's words, newest first."""
    words = split_words(query)
    if not words:
        return []
    ids = _newest(session, "piece_search", words, most) if _has_index(session) else None
    if ids is not None:
        return list(session.scalars(_PIECES, {"found": ids})) if ids else []
    wanted = select(Piece).options(joinedload(Piece.owner)).order_by(Piece.id.desc()).limit(most)
    for word in words:
        owned = select(Piece.id).join(Piece.owner).where(*_all_in([word], Customer))
        wanted = wanted.where(
            Piece.id.in_(select(Piece.id).where(*_all_in([word], Piece)).union(owned))
        )
    return list(session.scalars(wanted))


_PIECES = (
    select(Piece)
    .where(Piece.id.in_(_FOUND))
    .options(joinedload(Piece.owner))
    .order_by(Piece.id.desc())
)


def find_jobs(session: Session, query: str, most: int = MOST) -> list[Job]:
    """Find jobs by number, or by their customer's or piece's words, newest first."""
    words = split_words(query)
    if not words:
        return []
    found: list[Job] = []
    if number := re.fullmatch(r"\s*(?:job|no\.?|#)?\s*([0-9]{1,9})\s*", query, re.IGNORECASE):
        found = list(session.scalars(_JOBS, {"found": [int(number.group(1))]}))
    numbers = _newest(session, "job_search", words, most) if _has_index(session) else None
    if numbers is not None:
        jobs = list(session.scalars(_JOBS, {"found": numbers})) if numbers else []
    else:
        jobs = _scan_jobs(session, words, most)
    return list(dict.fromkeys([*found, *jobs]))[:most]


# what a line of a list says; anything else is loaded when it is asked for
_PIECE_LINE = (Piece.maker, Piece.model, Piece.marking, Piece.telling_marks, Piece.instrument_kind)
_JOBS = (
    select(Job)
    .where(Job.number.in_(_FOUND))
    .options(
        load_only(Job.number, Job.stage, Job.dropped_off),
        joinedload(Job.piece).load_only(*_PIECE_LINE),
        joinedload(Job.customer).load_only(Customer.name),
    )
    .order_by(Job.number.desc())
)


def _scan_jobs(session: Session, words: Sequence[str], most: int) -> list[Job]:
    wanted = (
        select(Job)
        .options(joinedload(Job.piece), joinedload(Job.customer))
        .order_by(Job.number.desc())
        .limit(most)
    )
    for word in words:
        by_piece = select(Job.id).join(Job.piece).where(*_all_in([word], Piece))
        by_customer = select(Job.id).join(Job.customer).where(*_all_in([word], Customer))
        wanted = wanted.where(Job.id.in_(by_piece.union(by_customer)))
    return list(session.scalars(wanted))
