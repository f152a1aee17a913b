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
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    case,
    func,
    inspect,
    or_,
    select,
    text,
)
from sqlalchemy.orm import Session, joinedload

from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.engines import engine_kind
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
        texts = (record.name, record.phone, record.email, record.address, record.plays)
        return searchable(*texts)
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
        text(f"INSERT OR REPLACE INTO {index}(rowid, search_text) {_LINES[index]} {where}"), given
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


def _newest(session: Session, index: str, words: Sequence[str], most: int) -> list[int] | None:
    """The row numbers of the newest lines that have every word.

    None if there is no index, or if all words are short and too rare to be found among the newest
    lines.
    """
    if not _has_index(session):
        return None
    condition, given = _matching(index, words)
    if "long" not in given:
        condition += f" AND rowid > (SELECT max(rowid) FROM {index}) - {NEWEST}"  # noqa: S608
    newest = f"SELECT rowid FROM {index} WHERE {condition} ORDER BY rowid DESC LIMIT :most"  # noqa: S608
    session.flush()
    numbers = list(session.scalars(text(newest), {**given, "most": most}))
    return numbers if "long" in given or len(numbers) == most else None


def find_customers(session: Session, query: str, most: int = MOST) -> list[Customer]:
    """Find customers whose name, telephone, e-mail or address has every word, by name.

    One that was made one with another is found under the record that was kept, as are pieces.
    """
    words = split_words(query)
    if not words:
        return []
    few = _few_customers(session, words)
    fit = and_(*(_has_word(Customer, word) for word in words))
    customers = _kept(Customer, fit if few is None else Customer.id.in_(few))
    return list(session.scalars(customers.order_by(Customer.search_text, Customer.id).limit(most)))


def _kept(record: type[Any], fit: ColumnElement[bool]) -> Select[Any]:
    """Select the records that fit, and of those made one with another the one that was kept."""
    ids = select(func.coalesce(record.joined_to_id, record.id)).where(fit)
    return select(record).where(record.id.in_(ids), record.joined_to_id.is_(None))


def _few_customers(session: Session, words: Sequence[str]) -> list[int] | None:
    """The ids of the customers that have every word, if the index finds them and they are few."""
    if not (_has_index(session) and any(len(word) >= 3 for word in words)):
        return None
    condition, given = _matching("customer_search", words)
    session.flush()
    fitting = text(f"SELECT rowid FROM customer_search WHERE {condition} LIMIT {FEW}")  # noqa: S608
    ids = list(session.scalars(fitting, given))
    return ids if len(ids) < FEW else None


def _has_word(record: type[Customer | Piece], word: str) -> ColumnElement[bool]:
    return record.search_text.contains(word, autoescape=True)


def find_pieces(session: Session, query: str, most: int = MOST) -> list[Piece]:
    """Find pieces by what is stamped on them, their marks, or their owner's words, newest first."""
    words = split_words(query)
    if not words:
        return []
    ids = _newest(session, "piece_search", words, most)
    fit = [Piece.id.in_(ids)] if ids is not None else []
    for word in words if ids is None else ():
        own = select(Piece.id).where(_has_word(Piece, word))
        owned = select(Ownership.piece_id).join(Customer, Customer.id == Ownership.customer_id)
        fit.append(Piece.id.in_(own.union(owned.where(_has_word(Customer, word)))))
    pieces = _kept(Piece, and_(*fit)).options(joinedload(Piece.owner))
    return list(session.scalars(pieces.order_by(Piece.id.desc()).limit(most)))


def find_jobs(session: Session, query: str, most: int = MOST) -> list[Job]:
    """Find jobs by number, or by their customer's or piece's words: that number, then newest."""
    words = split_words(query)
    if not words:
        return []
    is_exact = Job.number.in_(job_number_in(query))
    numbers = _newest(session, "job_search", words, most)
    fit = (
        and_(*(_job_has_word(word) for word in words))
        if numbers is None
        else Job.number.in_(numbers)
    )
    jobs = (
        select(Job)
        .where(or_(fit, is_exact))
        .options(joinedload(Job.piece), joinedload(Job.customer))
        .order_by(case((is_exact, 0), else_=1), Job.number.desc())
        .limit(most)
    )
    return list(session.scalars(jobs))


def _job_has_word(word: str) -> ColumnElement[bool]:
    by_piece = select(Job.id).join(Job.piece).where(_has_word(Piece, word))
    by_customer = select(Job.id).join(Job.customer).where(_has_word(Customer, word))
    return Job.id.in_(by_piece.union(by_customer))


# a job's number as it is written, or as the code on a tag holds it
_NUMBER = re.compile(
    r"(?:job|no\.?|#)?\s*([0-9]{1,9})|(?:\S{0,200}/)?jobs/([0-9]{1,9})(?:[/?#]\S*)?", re.IGNORECASE
)


def job_number_in(query: str) -> list[int]:
    """The job's number that a query is, or that stands in a pasted address; else nothing."""
    number = _NUMBER.fullmatch(query.strip())
    return [int(number.group(1) or number.group(2))] if number else []
