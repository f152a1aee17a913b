"""A paper on the screen: its pages as pictures with the same words beside them, and its PDF."""

import re
from collections.abc import Callable
from typing import Any

from fastapi import HTTPException, Request
from fastapi.responses import HTMLResponse, Response

from app.render.papers import Paper, draw_pages, find_unprintable, make_pdf, write_words
from app.web.drawn import answer_picture
from app.web.pages import show_page

PDF = "paper.pdf"
NO_FILE = "That paper has no such file."
# Kept papers of earlier days came with pictures; a page is compressed as it is made.
MEDIA_TYPES = {
    "svg": "image/svg+xml",
    "svgz": "image/svg+xml",
    "pdf": "application/pdf",
    "jpg": "image/jpeg",
}


def show_paper(
    request: Request, template: str, paper: Paper, address: str, **values: Any
) -> HTMLResponse:
    """Show how a paper would print; `address` is where its pages and its PDF are."""
    return show_page(
        request,
        template,
        address=address,
        pages=[f"page-{at}.svgz" for at in range(1, len(draw_pages(paper)) + 1)],
        words=write_words(paper),
        unprintable=find_unprintable(paper),
        **values,
    )


def answer_paper(request: Request, paper: Paper, name: str, file_name: str) -> Response:
    """One page of a paper, or its PDF; 404 for anything else."""
    if name == PDF:
        return answer_file(request, name, paper, lambda: make_pdf(paper), file_name)
    number = re.fullmatch(r"page-([0-9]{1,3})\.svgz", name)
    pages = draw_pages(paper) if number else ()
    if number is None or not 1 <= int(number[1]) <= len(pages):
        raise HTTPException(404, NO_FILE)
    return answer_file(request, name, (paper, name), lambda: pages[int(number[1]) - 1], file_name)


def answer_file(
    request: Request, name: str, shown: object, make: Callable[[], bytes], file_name: str
) -> Response:
    """A paper's file by the kind of its name; a PDF opens in the browser, to be printed."""
    media_type = MEDIA_TYPES.get(name.rpartition(".")[2])
    if media_type is None:
        raise HTTPException(404, NO_FILE)
    answer = answer_picture(request, shown, make, media_type)
    if name.endswith(".svgz"):
        answer.headers["Content-Encoding"] = "gzip"
    if name == PDF:
        answer.headers["Content-Disposition"] = f'inline; filename="{file_name}"'
    return answer
