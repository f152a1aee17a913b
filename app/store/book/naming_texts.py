"""The texts of a book in which a person is named: the person's own, those elsewhere, and doubts.

`FREE_TEXTS` are the columns in which somebody writes in their own words; a test holds that every
other text is a code, a number as typed or of the shop itself. SQL only narrows down where to look;
what counts as a match is decided by `core/shop/erasure.py`.
"""

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Table,
    Text,
    and_,
    cast,
    delete,
    false,
    not_,
    or_,
    select,
    update,
)
from sqlalchemy.orm import Session

from app.core.shop.erasure import Marks, in_page, list_texts, strike_values
from app.store.book.contents import kind_of
from app.store.book.describing import describe_column
from app.store.tables import Base, Draft, Job, Ownership, Piece, Revision

FREE_TEXTS: Mapping[str, tuple[str, ...]] = {
    "piece": ("maker", "model", "marking", "telling_marks", "notes"),
    "instrument": ("maker", "model"),
    "customer": ("notes",),
    "job": ("request", "played_with", "condition_notes", "agreed_work"),
    "job_tick": ("label",),
    "event": ("words",),
    "memo": ("details",),
    "stock": ("name", "note"),
    "reading_set": ("note", "replaces_why"),
    "reading": ("name",),
    "bench_pass": ("abrasive", "grit", "note"),
    "work": ("label", "material", "note"),
    "service": ("label",),
    "charge": ("label",),
    "payment": ("way",),
    "photo": ("caption",),
    "facing": ("name", "note"),
    "batch": ("name", "note"),
    "gauge": ("label", "notes"),
    "gauge_check": ("method",),
    "study": ("note",),
    "study_reading": ("piece",),
    "blade_set": ("name",),
    "checklist_item": ("label",),
    "revision": ("before",),
}
# Who made a thing stays, unless it is the whole name.
WHOLE_NAME_ONLY = {("piece", "maker"), ("piece", "model")}


@dataclass(frozen=True, slots=True)
class Found:
    """A text that names the person: where it stands, what it says, what it would say."""

    table: str
    key: Mapping[str, Any]
    column: str
    before: Any
    after: Any
    named: Any  # what it would say if each word of the name were struck
    where: str = ""
    address: str = ""

    @property
    def mark(self) -> str:
        """The text's own mark, by which a form names it."""
        return ".".join([self.table, self.column, *(str(part) for part in self.key.values())])

    @property
    def what(self) -> str:
        """What the text is, in words."""
        return describe_column(self.table, self.column)

    def says(self, value: Any) -> str:
        """A value as one line of text."""
        return value if isinstance(value, str) else " · ".join(list_texts(value))


@dataclass(slots=True)
class Texts:
    """What is to be struck, and what only the maker can judge."""

    struck: list[Found] = field(default_factory=list)
    doubtful: list[Found] = field(default_factory=list)

    def judged(self, marks: Collection[str]) -> "Texts":
        """The texts with those struck too that the maker judged to mean the person."""
        also = [replace(text, after=text.named) for text in self.doubtful if text.mark in marks]
        return Texts(
            [*self.struck, *also], [text for text in self.doubtful if text.mark not in marks]
        )


def jobs_of(customer_id: int) -> Any:
    """Select the numbers of a customer's jobs' rows."""
    return select(Job.id).where(Job.customer_id == customer_id)


def pieces_of(customer_id: int) -> Any:
    """Select the numbers of the pieces a customer owns or owned."""
    return (
        select(Ownership.piece_id)
        .where(Ownership.customer_id == customer_id)
        .union(select(Piece.id).where(Piece.owner_id == customer_id))
    )


def _is_own(table: Table, customer_id: int) -> ColumnElement[bool]:
    """Say which rows of a table belong to the person."""
    jobs, pieces, c = jobs_of(customer_id), pieces_of(customer_id), table.c
    if table.name == "job":
        return c.customer_id == customer_id
    if table.name == "piece":
        return c.id.in_(pieces)
    if table.name == "reading":
        sets = Base.metadata.tables["reading_set"]
        return c.set_id.in_(select(sets.c.id).where(_is_own(sets, customer_id)))
    if table.name == "facing":
        aimed = select(Job.facing_id).where(Job.customer_id == customer_id)
        return and_(c.in_library.is_(False), c.id.in_(aimed))
    if table.name == "revision":
        pictures = Base.metadata.tables["photo"]
        theirs = select(pictures.c.id).where(_is_own(pictures, customer_id))
        return or_(
            *(
                and_(c.noun == noun, c.record_id.in_(ids))
                for noun, ids in (("job", jobs), ("piece", pieces), ("photo", theirs))
            )
        )
    if "job_id" not in c:
        return false()
    if table.name == "memo":
        return or_(c.job_id.in_(jobs), c.customer_id == customer_id)
    own: ColumnElement[bool] = c.job_id.in_(jobs)
    return or_(own, and_(c.job_id.is_(None), c.piece_id.in_(pieces))) if "piece_id" in c else own


def hinted(column: ColumnElement[Any], hints: Sequence[str], *, is_json: bool = False) -> Any:
    """Narrow down to rows whose column holds one of the hints, in any case."""
    forms = {
        form
        for hint in hints
        for spelling in (hint, hint.lower(), hint.upper(), hint.title())
        for form in (
            (spelling, json.dumps(spelling)[1:-1]) if is_json else (spelling, in_page(spelling))
        )
    }
    text = cast(column, Text)
    return or_(false(), *(text.icontains(form, autoescape=True) for form in sorted(forms)))


def find_texts(session: Session, customer_id: int, marks: Marks) -> Texts:
    """Find every text in the book that names a person."""
    texts = Texts()
    for name, columns in FREE_TEXTS.items():
        table = Base.metadata.tables[name]
        own = _is_own(table, customer_id)
        # What goes as a whole, the customer's row and what it said before, is not looked at.
        other = not_(own)
        if name in {"customer", "instrument"}:
            other = table.c["id" if name == "customer" else "customer_id"] != customer_id
        elif name == "revision":
            theirs = and_(table.c.noun == "customer", table.c.record_id == customer_id)
            other = and_(other, not_(theirs))
        near = or_(
            *(
                hinted(table.c[column], marks.hints, is_json=kind_of(table.c[column]) == "json")
                for column in columns
            )
        )
        for named_in in _look(session, table, columns, own, marks, own_rows=True):
            texts.struck.append(named_in)
        for named_in in _look(session, table, columns, and_(other, near), marks, own_rows=False):
            place = texts.struck if named_in.after != named_in.before else texts.doubtful
            place.append(named_in)
    return texts


def _look(
    session: Session,
    table: Table,
    columns: Sequence[str],
    which: ColumnElement[bool],
    marks: Marks,
    *,
    own_rows: bool,
) -> Iterator[Found]:
    for row in session.execute(select(table).where(which).order_by(*table.primary_key)).mappings():
        for column in columns:
            before = row[column]
            named = strike_values(before, marks.own)
            whole_only = not own_rows or (table.name, column) in WHOLE_NAME_ONLY
            after = strike_values(before, marks.elsewhere) if whole_only else named
            if after != before or (not own_rows and named != before):
                key = {
                    column_of_key.name: row[column_of_key.name]
                    for column_of_key in table.primary_key
                }
                where, address = _place(session, table.name, row)
                yield Found(table.name, key, column, before, after, named, where, address)


def _place(session: Session, table: str, row: Mapping[Any, Any]) -> tuple[str, str]:
    """Say in words where a row stands, and its page's address."""
    ids = {**row}
    if table == "revision":
        ids = {f"{ids['noun']}_id": ids["record_id"]}
    job_id = ids["id"] if table == "job" else ids.get("job_id")
    if job_id is not None and (job := session.get(Job, job_id)):
        return f"job {job.number}", f"/jobs/{job.number}"
    piece_id = ids["id"] if table == "piece" else ids.get("piece_id")
    if piece_id is not None:
        return f"piece {piece_id}", f"/pieces/{piece_id}"
    if table == "customer" or "customer_id" in ids:
        number = ids["id"] if table == "customer" else ids["customer_id"]
        return "another customer", f"/customers/{number}"
    return "elsewhere", ""


def strike_texts(session: Session, texts: Texts) -> None:
    """Write what the struck texts are to say."""
    for struck in texts.struck:
        table = Base.metadata.tables[struck.table]
        where = [table.c[name] == value for name, value in struck.key.items()]
        session.execute(update(table).where(*where).values({struck.column: struck.after}))


def find_drafts(session: Session, customer_id: int, marks: Marks) -> list[str]:
    """Name the pages on which something is half typed that names the person."""
    return [
        draft.place
        for draft in session.scalars(select(Draft))
        if draft.place.startswith(f"/customers/{customer_id}/")
        or any(marks.own.search(text) for text in list_texts(draft.fields))
    ]


def drop_revisions(session: Session, customer_id: int) -> None:
    """Remove what the customer's own record said before it was changed."""
    wanted = delete(Revision).where(Revision.noun == "customer", Revision.record_id == customer_id)
    session.execute(wanted)
