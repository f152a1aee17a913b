"""Removal rates: what the shop's own passes took, with the evidence, as a table and a plot."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.plan.rate_tables import list_rates
from app.core.plan.removal import FEWEST_PAIRS, RemovalKind, RemovalPair, learn_rate, make_kind
from app.core.values.forms import Fields
from app.core.values.units import SCALES
from app.render.rates import RatePicture, draw_rate
from app.store.records.removal import MOST_JOBS, list_removal_pairs
from app.web.drawn import answer_picture
from app.web.pages import Form, ReadOnly, show_page
from app.web.plan.planning import uncertainties_of

router = APIRouter(prefix="/removal-rates")


def _pairs(session: Session) -> list[RemovalPair]:
    return list_removal_pairs(session, uncertainties_of(None))


@router.get("")
def index(request: Request, session: ReadOnly, left: str = "") -> HTMLResponse:
    """Show what each kind of cut takes, and how many strokes a depth would be."""
    fields = Fields({"left": left})
    left_mm = fields.length_mm("left", SCALES["length_mm"])
    if left_mm is not None and not 0 < left_mm <= 5:
        fields.refuse("left", "A depth is more than 0 and at most 5 mm.")
    form = Form(values={"left": left[:40]}, problems=dict(fields.problems))
    sections = list_rates(_pairs(session), None if form.problems else left_mm)
    return show_page(
        request,
        "removal_rates/index.html",
        form=form,
        sections=sections,
        asked=left_mm is not None and not form.problems,
        plots=[_plot_address(section.kind) for section in sections],
        fewest=FEWEST_PAIRS,
        most_jobs=MOST_JOBS,
    )


def _plot_address(kind: RemovalKind) -> str:
    names = ("cut", "abrasive", "grit", "material")
    return f"/removal-rates/plot.svg?{urlencode({name: getattr(kind, name) for name in names})}"


@router.get("/plot.svg")
def plot(
    request: Request,
    session: ReadOnly,
    cut: str = "",
    abrasive: str = "",
    grit: str = "",
    material: str = "",
    size: str = "card",
) -> Response:
    """Draw the evidence of one kind of cut."""
    kind = make_kind(cut, abrasive, grit, material)
    rate = learn_rate(kind, _pairs(session))
    picture = RatePicture(rate, size="small" if size == "small" else "card")
    return answer_picture(request, picture, lambda: draw_rate(picture))
