"""Loads what pages list, by queries prepared once.

Building a query, and loading what hangs on a record the way relations do it themselves, takes
longer than running it.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, CursorResult, Executable, bindparam, select
from sqlalchemy.orm import InstrumentedAttribute, Session
from sqlalchemy.orm.attributes import set_committed_value
from sqlalchemy.orm.interfaces import ORMOption

from app.store.records.remembering import only_looks, remember


def rows_of(
    session: Session, statement: Executable, values: Mapping[str, Any] | None = None
) -> CursorResult[Any]:
    """Run a query for plain rows in the session's transaction, after what it has yet to write."""
    if not only_looks(session) and (session.new or session.dirty or session.deleted):
        session.flush()
    connection = remember(session, "connection", session.connection)
    return connection.execute(statement, values or {})


class Hanging:
    """One kind of records that hang on others, such as `Job.events`; prepared on first use.

    `options` say what is loaded with each of them, `where` which of them.
    """

    def __init__(
        self,
        relation: InstrumentedAttribute[Any],
        *options: ORMOption,
        where: ColumnElement[bool] | None = None,
    ) -> None:
        self._relation, self._options, self._where = relation, options, where
        self._key = relation.key
        self._statement: Any = None
        self._owner = ""

    def _prepare(self) -> Any:
        kind = self._relation.property
        ((_, column),) = kind.local_remote_pairs
        target = kind.mapper
        self._owner = target.get_property_by_column(column).key
        only = () if self._where is None else (self._where,)
        return (
            select(target.class_)
            .where(column.in_(bindparam("owners", expanding=True)), *only)
            .order_by(*(kind.order_by or ()))
            .options(*self._options)
        )

    def load(self, session: Session, owners: Sequence[Any]) -> None:
        """Load them for all of these owners."""
        if not owners:
            return
        if self._statement is None:
            self._statement = self._prepare()
        found: dict[int, list[Any]] = {owner.id: [] for owner in owners}
        for one in session.scalars(self._statement, {"owners": list(found)}):
            found[getattr(one, self._owner)].append(one)
        for owner in owners:
            set_committed_value(owner, self._key, found[owner.id])
