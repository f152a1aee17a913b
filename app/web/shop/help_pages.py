"""How to measure, and the trade's words."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.core.values.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS, MATERIALS
from app.web.pages import show_page

router = APIRouter(prefix="/help")


@router.get("")
def index(request: Request) -> HTMLResponse:
    """Show how to measure, the words, and the cautions."""
    cautions = [(MATERIALS[key], words) for key, words in MATERIAL_CAUTIONS.items()]
    return show_page(request, "help/index.html", cautions=cautions, defers=CAUTION_DEFERS)
