"""The first page: what is on the bench, by stage and by when it is wanted."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.core.jobs.jobs import days_late
from app.core.jobs.memos import MEMO_KINDS
from app.store.records.jobs import list_bench, list_returned
from app.store.records.memos import list_awaited
from app.store.records.shop import awaits_first_choice
from app.store.records.stock import list_stock
from app.web.pages import Clock, Reading, go_to, show_page
from app.web.shop.backups import Watching

router = APIRouter()


@router.get("/")
def index(request: Request, session: Reading, clock: Clock, watch: Watching) -> Response:
    """Show the bench list; a book that nobody has begun asks how to begin."""
    if awaits_first_choice(session):
        return go_to("/first-start")
    groups = [group for group in list_bench(session) if group.jobs]
    today = clock.today()
    late = sum(
        days_late(job.wanted_by, job.stage, today) > 0 for group in groups for job in group.jobs
    )
    returned = list_returned(session)
    return show_page(
        request,
        "bench/index.html",
        groups=groups,
        late=late,
        returned=returned,
        low_stock=list_stock(session, low=True),
        awaited=[(MEMO_KINDS[one.kind], one) for one in list_awaited(session, due_until=today)],
        backup_fault=watch.fault(),
    )
