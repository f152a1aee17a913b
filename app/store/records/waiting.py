"""What the shop's own history says of how long a piece takes."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core.jobs.waiting import MOST, Visit
from app.store.tables import Event, Job


def list_visits(session: Session) -> list[Visit]:
    """List the newest jobs that were done: when each came and was ready, else went home."""
    ready = (
        select(func.min(Event.on))
        .where(Event.job_id == Job.id, Event.stage == "ready", Event.struck_at.is_(None))
        .correlate(Job)
        .scalar_subquery()
    )
    visits = (
        select(Job.dropped_off, func.coalesce(ready, Job.returned_on))
        # Said by what is left out: `stage = 'returned'`, which is nearly all, would hide the index.
        .where(Job.returned_on.is_not(None), Job.stage != "returned_unworked")
        .order_by(Job.returned_on.desc(), Job.number.desc())
        .limit(3 * MOST)
    )
    return [Visit(came, done) for came, done in session.execute(visits)]
