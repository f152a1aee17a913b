"""A piece that comes back: how it left, and whether it has moved, for drop-off and job page."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.core.compare.comparison import compare
from app.core.compare.comparison_words import IT_HAS_MOVED, Finding, Told, tell_comparison
from app.core.compare.differences import shorten_set
from app.core.compare.effort_words import say_net_effort
from app.core.facing.measurements import GaugesInUse, write_line
from app.store.records.measurements import Measurement, last_facings, standing
from app.store.records.passes import shortened_between
from app.store.records.shop import gauges_in_use
from app.store.tables import Customer, Job
from app.web.compare.comparisons import find_departure, pair_address


@dataclass(frozen=True, slots=True)
class LastKnown:
    """The last facing of a piece that is being dropped off, and its line."""

    measurement: Measurement
    line: str


@dataclass(frozen=True, slots=True)
class Homecoming:
    """How a job's piece left last time and how it came in; `told` once it was read as received."""

    left: Measurement
    left_line: str
    received: Measurement | None = None
    received_line: str = ""
    told: Told | None = None
    address: str = ""
    effort: str | None = None


def list_last_known(session: Session, customer: Customer | None) -> dict[int, LastKnown]:
    """The last facing of each of a customer's pieces; those never measured are left out."""
    pieces = [piece.id for piece in customer.pieces] if customer else []
    if not pieces:
        return {}
    gauges = gauges_in_use(session)
    return {
        piece_id: LastKnown(measurement, _line(measurement, gauges))
        for piece_id, measurement in last_facings(session, pieces).items()
    }


def _line(measurement: Measurement, gauges: GaugesInUse) -> str:
    return write_line(measurement.recorded, gauges) or "other lengths"


def gather_homecoming(
    session: Session, job: Job, sets: Sequence[Measurement], gauges: GaugesInUse
) -> Homecoming | None:
    """Gather what a client is told first; None for a piece that never left as returned before.

    `sets` are all of the piece's, oldest first.
    """
    left = find_departure(job, sets)
    if left is None:
        return None
    own = [kept for kept in sets if kept.job_number == job.number]
    received = standing(own, "as_received")
    if not received:
        return Homecoming(left, _line(left, gauges))
    now = received[-1]
    off_mm = shortened_between(session, left, now)
    both = shorten_set(left.read_set, off_mm), now.read_set
    answer = tell_comparison(compare(*both), IT_HAS_MOVED)
    effort = None
    if answer.finding is Finding.MOVED:
        effort = say_net_effort(left.read_set, now.read_set, job.piece.instrument_kind)
    return Homecoming(
        left, _line(left, gauges), now, _line(now, gauges), answer, pair_address(left, now), effort
    )
