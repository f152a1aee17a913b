"""Keeps what a session has read of the gauges and settings while one page is made.

A page asks for the register of gauges in many places. A session sees one state of the book from
its first query to its end, so asking once is enough; whatever the session itself writes, and the
end of its transaction, make it forget.
"""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar, cast

from sqlalchemy import event
from sqlalchemy.orm import ORMExecuteState, Session, sessionmaker

_KEPT = "remembered"
Kept = TypeVar("Kept")


def remember(session: Session, name: Hashable, read: Callable[[], Kept]) -> Kept:
    """What was read under this name in this session, or read it now."""
    kept = session.info.setdefault(_KEPT, {})
    if name not in kept:
        kept[name] = read()
    return cast("Kept", kept[name])


def remembered(session: Session, name: Hashable) -> Any:
    """What was read under this name in this session, or None."""
    return session.info.get(_KEPT, {}).get(name)


def forget_what_changes(sessions: sessionmaker[Session]) -> None:
    """Make these sessions forget whenever they write or their transaction ends."""
    for moment in ("after_flush", "after_commit", "after_rollback"):
        event.listen(sessions, moment, _forget)
    event.listen(sessions, "do_orm_execute", _forget_if_written)


def _forget(session: Session, *_: Any) -> None:
    session.info.pop(_KEPT, None)


def _forget_if_written(state: ORMExecuteState) -> None:
    if not state.is_select:
        _forget(state.session)
