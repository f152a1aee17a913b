"""The first page: what is on the bench, by stage and by when it is wanted."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.core.jobs.jobs import days_late
from app.core.jobs.memos import MEMO_KINDS
from app.core.jobs.stages import EXPECTED
from app.core.jobs.waiting import jobs_a_day, queue_places, tell_turnaround
from app.store.records.jobs import BenchGroup, list_bench, list_returned
from app.store.records.memos import list_awaited, list_out
from app.store.records.shop import awaits_first_choice
from app.store.records.stock import list_stock
from app.store.records.waiting import list_visits
from app.web.pages import ReadOnly, SettingsDep, go_to, show_page
from app.web.shop.backups import Watching

router = APIRouter()


@router.get("/")
def index(request: Request, session: ReadOnly, settings: SettingsDep, watch: Watching) -> Response:
    """Show the bench list; a book that nobody has begun asks how to begin."""
    if awaits_first_choice(session):
        return go_to("/first-start")
    today = settings.today()
    by_stage = {group.stage: group.jobs for group in list_bench(session)}
    queue = sorted(by_stage.pop(EXPECTED), key=lambda job: job.number)
    groups = [BenchGroup(stage, jobs) for stage, jobs in by_stage.items() if jobs]
    visits = list_visits(session)
    turnaround = tell_turnaround(visits)
    days, rate = [job.expected_on for job in queue], jobs_a_day(visits, today)
    places = queue_places(days, turnaround, rate, today) if turnaround else [None] * len(queue)
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
        queue=list(zip(queue, places, strict=True)),
        turnaround=turnaround,
        out=list_out(session),
        low_stock=list_stock(session, low=True),
        awaited=[(MEMO_KINDS[memo.kind], memo) for memo in list_awaited(session, due_until=today)],
        backup_fault=watch.fault(),
    )
