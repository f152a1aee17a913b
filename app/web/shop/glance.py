"""The shop at a glance: plots, each with its table beside it."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.shop.glance import (
    came_since,
    count_instruments,
    count_stages,
    count_words,
    first_months,
    tell_months,
)
from app.core.values.forms import format_money, plural
from app.core.values.units import format_number
from app.render.bars import Bar, BarPicture, draw_bars
from app.store.records.glance import list_job_facts, list_received
from app.store.records.shop import get_shop
from app.web.drawn import answer_picture
from app.web.pages import Clock, Reading, found_or_404, show_page

router = APIRouter(prefix="/glance")


@router.get("")
def index(request: Request, session: Reading, clock: Clock) -> HTMLResponse:
    """Show the shop at a glance."""
    today = clock.today()
    since = first_months(today)[0]
    jobs = list_job_facts(session, since)
    recent = came_since(jobs, since)
    stages = count_stages(jobs, today)
    return show_page(
        request,
        "glance/index.html",
        stages=stages,
        in_hand=sum(one.count for one in stages),
        late=sum(one.late for one in stages),
        months=tell_months(jobs, list_received(session, since), today),
        words=count_words(recent),
        instruments=count_instruments(recent),
        currency=get_shop(session).currency,
    )


@router.get("/{name}.svg")
def picture(request: Request, session: Reading, clock: Clock, name: str) -> Response:
    """Draw one of the page's plots."""
    gather = found_or_404(_PICTURES.get(name), "There is no such picture.")
    bars = BarPicture(gather(session, clock))
    return answer_picture(request, bars, lambda: draw_bars(bars))


def _stages(session: Session, clock: Clock) -> tuple[Bar, ...]:
    today = clock.today()
    jobs = list_job_facts(session, first_months(today)[0])
    return tuple(Bar(one.label, one.count, str(one.count)) for one in count_stages(jobs, today))


def _turnaround(session: Session, clock: Clock) -> tuple[Bar, ...]:
    today = clock.today()
    months = tell_months(list_job_facts(session, first_months(today)[0]), (), today)
    return tuple(
        Bar(
            one.label,
            one.median_days or 0.0,
            "–" if one.median_days is None else f"{format_number(one.median_days, 1)} days",
        )
        for one in months
    )


def _income(session: Session, clock: Clock) -> tuple[Bar, ...]:
    today = clock.today()
    months = tell_months((), list_received(session, first_months(today)[0]), today)
    currency = get_shop(session).currency
    return tuple(
        Bar(one.label, one.received_minor, format_money(one.received_minor, currency))
        for one in months
    )


def _asked(session: Session, clock: Clock) -> tuple[Bar, ...]:
    since = first_months(clock.today())[0]
    jobs = came_since(list_job_facts(session, since), since)
    return tuple(Bar(one.label, one.count, plural(one.count, "job")) for one in count_words(jobs))


_PICTURES: dict[str, Callable[[Session, Clock], tuple[Bar, ...]]] = {
    "stages": _stages,
    "turnaround": _turnaround,
    "income": _income,
    "asked": _asked,
}
