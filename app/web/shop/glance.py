"""The shop at a glance: a few tables, the figures that matter with a bar."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.core.shop.glance import (
    came_since,
    count_instruments,
    count_stages,
    count_words,
    first_months,
    tell_months,
)
from app.store.records.glance import list_job_facts, list_received
from app.store.records.shop import get_shop
from app.web.pages import ReadOnly, SettingsDep, show_page

router = APIRouter(prefix="/glance")


@router.get("")
def index(request: Request, session: ReadOnly, settings: SettingsDep) -> HTMLResponse:
    """Show the shop at a glance."""
    today = settings.today()
    since = first_months(today)[0]
    jobs = list_job_facts(session, since)
    recent = came_since(jobs, since)
    stages = count_stages(jobs, today)
    return show_page(
        request,
        "glance/index.html",
        stages=stages,
        in_hand=sum(stage.count for stage in stages),
        late=sum(stage.late for stage in stages),
        months=tell_months(jobs, list_received(session, since), today),
        words=count_words(recent),
        instruments=count_instruments(recent),
        currency=get_shop(session).currency,
    )
