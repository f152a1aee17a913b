"""The one box on every page: customers, pieces and jobs by any part of them."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.store.records.customers import tell_apart
from app.store.records.search import find_customers, find_jobs, find_pieces, job_number_in
from app.web.pages import ReadOnly, show_page

router = APIRouter(prefix="/look-up")


def _found(session: Session, query: str, most: int) -> dict[str, Any]:
    """Look everything up; `exact` is the job of the number asked for, which stands first."""
    customers = find_customers(session, query, most)
    jobs = find_jobs(session, query, most)
    exact = [job for job in jobs if job.number in job_number_in(query)]
    return {
        "exact": exact,
        "customers": customers,
        "known": tell_apart(session, [customer.id for customer in customers]),
        "pieces": find_pieces(session, query, most),
        "jobs": [job for job in jobs if job not in exact],
    }


@router.get("")
def index(request: Request, session: ReadOnly, q: str = "") -> HTMLResponse:
    """Show everything that fits."""
    return show_page(request, "search/index.html", asked=q, **_found(session, q[:200], 40))


@router.get("/results")
def results(request: Request, session: ReadOnly, q: str = "") -> HTMLResponse:
    """Show the first few of each, for the box while typing."""
    return show_page(request, "search/results.html", asked=q, **_found(session, q[:200], 5))
