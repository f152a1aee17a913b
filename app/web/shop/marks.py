"""The shop's own mark: uploaded as a drawing or as dots, shown as it stands on papers."""

from dataclasses import dataclass
from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from app.core.shop.marks import MOST_BYTES, MarkRefused, clean_mark
from app.render.papers import can_draw, frame_photo
from app.render.photos import PhotoRefused, make_photo
from app.store.records.shop import get_mark, get_shop, save_mark
from app.web.drawn import answer_picture
from app.web.pages import Form, ReadOnly, Writing, go_to, show_page

router = APIRouter(prefix="/settings/mark")


@dataclass(frozen=True, slots=True)
class Sent:
    """What came in: the mark made of it, or why there is none."""

    form: Form
    mark: str
    refused: str


def make_mark(content: bytes) -> str:
    """Make a mark of a file's content; raises MarkRefused or PhotoRefused in words."""
    if len(content) > MOST_BYTES:
        raise MarkRefused(f"is larger than {MOST_BYTES // 1000} kB")
    if b"<svg" not in content:
        photo = make_photo(content)
        return frame_photo(photo.small, photo.width_px, photo.height_px)
    mark = clean_mark(content)
    if not can_draw(mark):
        raise MarkRefused("can’t be drawn; save it again as plain SVG, or send PNG")
    return mark


async def read_mark(request: Request) -> Sent:
    """Read a form with a mark and make it again, one at a time in the whole program."""
    form = Form()
    request.state.typed = form
    mark, refused = "", "Choose a file."
    async with request.form(max_files=1, max_fields=10) as data:
        for name, value in data.multi_items():
            if not isinstance(value, UploadFile):
                form.add(name, value)
            elif value.filename or value.size:
                content = await value.read(MOST_BYTES + 1)
                try:
                    limiter = request.app.state.decoding
                    mark = await to_thread.run_sync(make_mark, content, limiter=limiter)
                except (MarkRefused, PhotoRefused) as error:
                    refused = f"“{(value.filename or 'The file')[-60:]}” {error}."
    return Sent(form, mark, refused)


@router.get("")
def edit(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the shop's mark, and where another is chosen."""
    return _page(request, session, Form())


def _page(request: Request, session: ReadOnly, form: Form) -> HTMLResponse:
    return show_page(
        request,
        "shop/mark.html",
        form=form,
        has_mark=bool(get_mark(session)),
        shop=get_shop(session),
        most_kb=MOST_BYTES // 1000,
    )


@router.post("")
def update(
    request: Request, session: Writing, sent: Annotated[Sent, Depends(read_mark)]
) -> Response:
    """Keep a mark, or take it off the papers to come."""
    taken_off = sent.form.get("do") == "remove"
    if not sent.mark and not taken_off:
        sent.form.problems["file"] = sent.refused
        return _page(request, session, sent.form)
    save_mark(session, "" if taken_off else sent.mark)
    session.commit()
    return go_to(f"/settings/mark?said={'removed' if taken_off else 'kept'}")


@router.get("/mark.svg")
def show(request: Request, session: ReadOnly) -> Response:
    """Send the mark as a drawing."""
    mark = get_mark(session)
    if not mark:
        raise HTTPException(404, "The shop has no mark.")
    return answer_picture(request, mark, mark.encode)
