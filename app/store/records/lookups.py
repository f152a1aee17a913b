"""Finding anything by any part of it, whatever the case, the accents and the order of words.

Each kind of record is found in one line of folded text: a customer by their own words, a piece by
its own and its owner's, a job by its piece's and its customer's. On SQLite these lines stand in
trigram indexes whose rows are numbered as results are listed, so that the newest few come out
without looking at the rest, however many fit. Customers are listed by name instead: where many
fit, the names are walked in their order until enough are found; where few do, those are sorted.

On PostgreSQL the search texts of customers and pieces stand in trigram indexes of the server's own
(`on_postgresql.py`), and the same words are looked for by LIKE; without the indexes too.

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
    Row,
    Select,
    TextClause,
    and_,
    bindparam,
    case,
    inspect,
    or_,
    select,
    text,
)
from sqlalchemy.orm import Session, joinedload

from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.engines import engine_kind
from app.store.records.loading import rows_of
from app.store.tables import Customer, Job, Ownership, Piece

_LETTERS = str.maketrans({"ß": "ss", "ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i",
                          "ð": "d", "þ": "th", "♭": "b", "♯": "#", "\0": " "})  # fmt: skip
MOST = 30
FEW = 300  # so many are sorted at once rather than walked through
NEWEST = 5000  # among so many a short word that is not rare is found often enough


def fold(text: str) -> str:
    """Fold case and accents away: Mühle and MUHLE become one word."""
    apart = unicodedata.normalize("NFKD", text.casefold().translate(_LETTERS))
    plain = "".join(char for char in apart if not unicodedata.combining(char))
    return plain.translate(_LETTERS)


def searchable(*parts: str) -> str:
    """Make the text a record is found by; telephone numbers stand in it without spaces too."""
    folded = " ".join(" ".join(fold(part).split()) for part in parts if part)
    digits = [re.sub(r"\D", "", part) for part in parts if len(re.sub(r"\D", "", part)) >= 5]
    return " ".join([folded, *digits])


def search_text_of(record: Customer | Piece | CustomerEntry | PieceEntry) -> str:
    """The folded words that a customer or a piece is found by."""
    if isinstance(record, Customer | CustomerEntry):
        told = (record.name, record.phone, record.email, record.address, record.plays)
        return searchable(*told)
    return searchable(record.maker, record.model, record.marking, record.telling_marks)


def split_words(query: str) -> list[str]:
    """Split a query into folded words; one made only of a telephone's signs loses its spaces."""
    if re.fullmatch(r"\s*\+?[\d\s()/.-]{5,}", query) and len(re.sub(r"\D", "", query)) >= 5:
        return [re.sub(r"\D", "", query)]
    return fold(query).split()[:8]


# A word holds no white space, so none can be found across the line break between two texts.
# A piece is found by its owner of now and by those before.
_LINES = {
    "piece_search": (
        "SELECT piece.id, piece.search_text || char(10) || customer.search_text || "
        "coalesce((SELECT char(10) || group_concat(former.search_text, char(10)) "
        "FROM ownership JOIN customer AS former ON former.id = ownership.customer_id "
        "WHERE ownership.piece_id = piece.id AND former.id <> piece.owner_id), '') "
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
        (
            (
                "piece_search",
                "piece.id IN (SELECT piece_id FROM ownership WHERE customer_id = :id "
                "UNION SELECT id FROM piece WHERE owner_id = :id)",
            ),
            ("job_search", "job.customer_id = :id"),
        ),
    ),
    Ownership: _Made(
        ("piece_id", "customer_id"),
        (("piece_search", "piece.id = (SELECT piece_id FROM ownership WHERE id = :id)"),),
    ),
    Piece: _Made(
        ("search_text", "owner_id"),
        (("piece_search", "piece.id = :id"), ("job_search", "job.piece_id = :id")),
    ),
    Job: _Made(("customer_id", "piece_id"), (("job_search", "job.id = :id"),)),
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
            for index, which in made.lines:
                _write_lines(session.connection(), index, f"WHERE {which}", id=record.id)
    for record in session.deleted:
        if isinstance(record, Piece):
            session.execute(text("DELETE FROM piece_search WHERE rowid = :id"), {"id": record.id})
        if isinstance(record, Job):
            session.execute(
                text("DELETE FROM job_search WHERE rowid = :number"), {"number": record.number}
            )


def renew_piece_line(session: Session, piece_id: int) -> None:
    """Write a piece's line anew after an owner was taken from it."""
    session.flush()
    if _has_index(session):
        connection = session.connection()
        _write_lines(connection, "piece_search", "WHERE piece.id = :id", id=piece_id)


def _any_changed(record: object, columns: Iterable[str]) -> bool:
    state = inspect(record, raiseerr=True)
    return any(state.attrs[name].history.has_changes() for name in columns)


def _write_lines(connection: Connection, index: str, where: str = "", **given: int) -> None:
    connection.execute(
        text(f"INSERT OR REPLACE INTO {index}(rowid, search_text) {_LINES[index]} {where}"),
        given,
    )


def rebuild_index(connection: Connection) -> None:
    """Write every line of the pieces' and jobs' indexes anew, where the database has them."""
    if not engine_kind(connection).has_lines:
        return
    for index in _LINES:
        connection.execute(text(f"DELETE FROM {index}"))  # noqa: S608 - our own names
        _write_lines(connection, index)
    tidy_index(connection)


def tidy_index(connection: Connection) -> None:
    """Put each index's pieces together; many small ones, left by many writes, take longer to read.

    Half a second for 100,000 jobs, in the caller's writing transaction.
    """
    if engine_kind(connection).has_lines:
        for index in ("customer_search", *_LINES):
            connection.execute(text(f"INSERT INTO {index}({index}) VALUES('optimize')"))


def _has_index(session: Session) -> bool:
    return engine_kind(session.get_bind()).has_lines


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
    """The row numbers of the newest lines that have every word.

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


@dataclass(frozen=True, slots=True)
class _Lists:
    """A kind of record as it is looked up: whole, or as rows of what a line of results says."""

    records: Any  # a Select of whatever columns
    lines: Any


# One that was made one with another is found under the record that was kept.
_CUSTOMERS = _Lists(
    select(Customer).where(Customer.joined_to_id.is_(None)),
    select(Customer.id, Customer.name, Customer.phone).where(Customer.joined_to_id.is_(None)),
)
_PIECES = _Lists(
    select(Piece).where(Piece.joined_to_id.is_(None)).options(joinedload(Piece.owner)),
    select(
        Piece.id, Piece.maker, Piece.model, Piece.marking, Piece.telling_marks,
        Piece.instrument_kind, Customer.name.label("owner_name"),
    ).join(Customer, Customer.id == Piece.owner_id).where(Piece.joined_to_id.is_(None)),
)  # fmt: skip
_JOBS = _Lists(
    select(Job).options(joinedload(Job.piece), joinedload(Job.customer)),
    select(
        Job.number, Job.stage, Job.dropped_off, Piece.maker, Piece.model, Piece.marking,
        Piece.telling_marks, Customer.name.label("customer_name"),
    ).join(Piece, Piece.id == Job.piece_id).join(Customer, Customer.id == Job.customer_id),
)  # fmt: skip
Asked = tuple[Select[Any], dict[str, Any]]


def find_customers(session: Session, query: str, most: int = MOST) -> list[Customer]:
    """Find customers whose name, telephone, e-mail or address has every word, by name."""
    asked = _ask_customers(session, query, most, _CUSTOMERS.records)
    return list(session.scalars(*asked)) if asked else []


def list_customers_found(session: Session, query: str, most: int) -> Sequence[Row[Any]]:
    """Find what `find_customers` finds, as rows: id, name, phone."""
    asked = _ask_customers(session, query, most, _CUSTOMERS.lines)
    return rows_of(session, *asked).all() if asked else []


def _ask_customers(session: Session, query: str, most: int, wanted: Select[Any]) -> Asked | None:
    words = split_words(query)
    if not words:
        return None
    if _has_index(session) and any(len(word) >= 3 for word in words):
        condition, given = _matching("customer_search", words)
        few = f"SELECT rowid FROM customer_search WHERE {condition} LIMIT {FEW}"  # noqa: S608
        ids = f"SELECT group_concat(rowid) FROM ({few})"  # noqa: S608 - one row to fetch, not hundreds
        joined = rows_of(session, _prepare(ids), given).scalar() or ""
        found = [int(one) for one in joined.split(",") if one]
        if len(found) < FEW:
            return _by_name(wanted), {"found": found, "most": most}
    return _scan_by_name(wanted, len(words)), {"most": most, **_patterns(words)}


@lru_cache(maxsize=8)
def _by_name(wanted: Select[Any]) -> Select[Any]:
    return (
        wanted.where(Customer.id.in_(_FOUND))
        .order_by(Customer.search_text, Customer.id)
        .limit(bindparam("most"))
    )


@lru_cache(maxsize=32)
def _scan_by_name(wanted: Select[Any], words: int) -> Select[Any]:
    return (
        wanted.where(*(_has_word(Customer, at) for at in range(words)))
        .order_by(Customer.search_text, Customer.id)
        .limit(bindparam("most"))
    )


def _has_word(record: type[Customer | Piece], at: int) -> ColumnElement[bool]:
    return record.search_text.like(bindparam(f"word{at}"), escape="/")


def _patterns(words: Sequence[str]) -> dict[str, str]:
    """The patterns for LIKE, in which % and _ stand for themselves."""
    plain = str.maketrans({"/": "//", "%": "/%", "_": "/_"})
    return {f"word{at}": f"%{word.translate(plain)}%" for at, word in enumerate(words)}


def find_pieces(session: Session, query: str, most: int = MOST) -> list[Piece]:
    """Find pieces by what is stamped on them, their marks, or their owner's words, newest first."""
    asked = _ask_pieces(session, query, most, _PIECES.records)
    return list(session.scalars(*asked)) if asked else []


def list_pieces_found(session: Session, query: str, most: int) -> Sequence[Row[Any]]:
    """Find what `find_pieces` finds, as rows: id, instrument_kind, what names it, owner_name."""
    asked = _ask_pieces(session, query, most, _PIECES.lines)
    return rows_of(session, *asked).all() if asked else []


def _ask_pieces(session: Session, query: str, most: int, wanted: Select[Any]) -> Asked | None:
    words = split_words(query)
    if not words:
        return None
    ids = _newest(session, "piece_search", words, most) if _has_index(session) else None
    if ids is not None:
        return _pieces_by_id(wanted), {"found": ids}
    return _scan_pieces(wanted, len(words)), {"most": most, **_patterns(words)}


@lru_cache(maxsize=8)
def _pieces_by_id(wanted: Select[Any]) -> Select[Any]:
    return wanted.where(Piece.id.in_(_FOUND)).order_by(Piece.id.desc())


@lru_cache(maxsize=32)
def _scan_pieces(wanted: Select[Any], words: int) -> Select[Any]:
    for at in range(words):
        owned = (
            select(Ownership.piece_id)
            .join(Customer, Customer.id == Ownership.customer_id)
            .where(_has_word(Customer, at))
        )
        wanted = wanted.where(
            Piece.id.in_(select(Piece.id).where(_has_word(Piece, at)).union(owned))
        )
    return wanted.order_by(Piece.id.desc()).limit(bindparam("most"))


def find_jobs(session: Session, query: str, most: int = MOST) -> list[Job]:
    """Find jobs by number, or by their customer's or piece's words, newest first."""
    asked = _ask_jobs(session, query, most, _JOBS.records)
    return _put_first(query, session.scalars(*asked).all(), most) if asked else []


def list_jobs_found(session: Session, query: str, most: int) -> Sequence[Row[Any]]:
    """Find what `find_jobs` finds, as rows: number, stage, day, the piece's name, customer_name."""
    asked = _ask_jobs(session, query, most, _JOBS.lines)
    return _put_first(query, rows_of(session, *asked).all(), most) if asked else []


def _ask_jobs(session: Session, query: str, most: int, wanted: Select[Any]) -> Asked | None:
    words = split_words(query)
    if not words:
        return None
    exact = job_number_in(query)
    numbers = _newest(session, "job_search", words, most) if _has_index(session) else None
    if numbers is not None:
        return _jobs_by_number(wanted), {"found": [*numbers, *exact]}
    return _scan_jobs(wanted, len(words)), {"most": most, "exact": exact, **_patterns(words)}


# a job's number as it is written, or as the code on a tag holds it
_NUMBER = re.compile(
    r"(?:job|no\.?|#)?\s*([0-9]{1,9})|(?:\S{0,200}/)?jobs/([0-9]{1,9})(?:[/?#]\S*)?",
    re.IGNORECASE,
)


def job_number_in(query: str) -> list[int]:
    """The job's number that a query is, or that stands in a pasted address; else nothing."""
    number = _NUMBER.fullmatch(query.strip())
    return [int(number.group(1) or number.group(2))] if number else []


def _put_first(query: str, found: Sequence[Any], most: int) -> list[Any]:
    """Put the job whose number was asked for before the others, which come newest first."""
    exact = job_number_in(query)
    return sorted(found, key=lambda job: job.number not in exact)[:most]


@lru_cache(maxsize=8)
def _jobs_by_number(wanted: Select[Any]) -> Select[Any]:
    return wanted.where(Job.number.in_(_FOUND)).order_by(Job.number.desc())


@lru_cache(maxsize=32)
def _scan_jobs(wanted: Select[Any], words: int) -> Select[Any]:
    having = []
    for at in range(words):
        by_piece = select(Job.id).join(Job.piece).where(_has_word(Piece, at))
        by_customer = select(Job.id).join(Job.customer).where(_has_word(Customer, at))
        having.append(Job.id.in_(by_piece.union(by_customer)))
    exact = Job.number.in_(bindparam("exact", expanding=True))
    first = case((exact, 0), else_=1)
    return (
        wanted.where(or_(and_(*having), exact))
        .order_by(first, Job.number.desc())
        .limit(bindparam("most"))
    )
