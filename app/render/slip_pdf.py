"""Draws a set paper as PDF: vector pictures, embedded fonts, the same bytes every time.

fpdf2 needs no system library; DejaVu lies in matplotlib's own data folder and has every Latin
letter, Greek and Cyrillic, and the trade's signs. Made once, when a paper is issued, and kept.
"""

import io
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from app.core.jobs.slips import Page
from app.render.blocks import Block, Look
from app.render.setting import Mark, Placed, Setter, Stroke, Text

if TYPE_CHECKING:
    from fpdf import FPDF

_FACES = {
    ("sans", ""): "DejaVuSans.ttf",
    ("sans", "B"): "DejaVuSans-Bold.ttf",
    ("serif", "B"): "DejaVuSerif-Bold.ttf",
    ("serif", "BI"): "DejaVuSerif-BoldItalic.ttf",
}
INK = 17
GREY = 70
RULE_GREY = 140
SHARES = (1.0, 0.8, 0.62, 0.48, 0.36, 0.26, 0.18, 0.12)
_LOCK = threading.Lock()


def _fonts_folder() -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _new_pdf(width_mm: float, height_mm: float) -> "FPDF":
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=(width_mm, height_mm))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    for (family, style), file in _FACES.items():
        pdf.add_font(family, style, _fonts_folder() / file)
    return pdf


@cache
def _ruler() -> "FPDF":
    return _new_pdf(100, 100)


def _set_font(pdf: "FPDF", look: Look) -> None:
    style = ("B" if look.bold else "") + ("I" if look.italic else "")
    pdf.set_font("serif" if look.serif else "sans", style, look.size_pt)


@lru_cache(maxsize=20_000)
def text_width_mm(text: str, look: Look) -> float:
    """Measure words on one line."""
    with _LOCK:  # pages are set in several threads, and the ruler has one font at a time
        ruler = _ruler()
        _set_font(ruler, look)
        return float(ruler.get_string_width(text))


def fit_page(lay: Callable[[float], Sequence[Block]], page: Page) -> tuple[Block, ...]:
    """Lay a paper out on one page with as much of its texts as fit; `lay` takes their share.

    What is still open, a picture or room to write, gets what the page has left.
    """
    setter = Setter(text_width_mm, page)
    blocks: Sequence[Block] = ()
    left_mm = 0.0
    for share in SHARES:
        blocks = lay(share)
        left_mm = setter.left_mm(blocks)
        if setter.fits(blocks, left_mm):
            break
    return setter.fill(blocks, left_mm)


def set_pages(blocks: Sequence[Block], page: Page) -> list[list[Mark]]:
    """Set a paper's blocks on pages."""
    return Setter(text_width_mm, page).pages(blocks)


def make_pdf(
    blocks: Sequence[Block],
    page: Page,
    files: Mapping[str, bytes],
    *,
    title: str,
    author: str,
    made_at: datetime,
) -> bytes:
    """Make the PDF of a paper; `files` holds its pictures by name (SVG, JPEG)."""
    pages = set_pages(blocks, page)
    pdf = _new_pdf(page.width_mm, page.height_mm)
    pdf.set_creation_date(made_at)
    pdf.set_title(title)
    pdf.set_author(author)
    pdf.set_lang("en")
    for number, marks in enumerate(pages, start=1):
        pdf.add_page()
        for mark in marks:
            _draw(pdf, mark, files)
        if len(pages) > 1:
            _number_page(pdf, page, f"{title} · page {number} of {len(pages)}")
    return bytes(pdf.output())


def _number_page(pdf: "FPDF", page: Page, words: str) -> None:
    look = Look(9.0, grey=True)
    left = page.width_mm - page.side_mm - text_width_mm(words, look)
    _draw(pdf, Text(left, page.height_mm - page.foot_mm / 2, words, look), {})


def _draw(pdf: "FPDF", mark: Mark, files: Mapping[str, bytes]) -> None:
    if isinstance(mark, Text):
        _set_font(pdf, mark.look)
        pdf.set_text_color(GREY if mark.look.grey else INK)
        pdf.text(mark.x, mark.y, mark.text)
    elif isinstance(mark, Stroke):
        pdf.set_draw_color(RULE_GREY if mark.grey else INK)
        pdf.set_line_width(mark.width_mm)
        pdf.set_dash_pattern(*((1.2, 1.0) if mark.dashed else (0, 0)))
        pdf.line(mark.x, mark.y, mark.x_end, mark.y_end)
    elif isinstance(mark, Placed):
        pdf.set_dash_pattern()
        pdf.image(
            io.BytesIO(_plain(files[mark.file])),
            x=mark.x,
            y=mark.y,
            w=mark.width_mm,
            h=mark.height_mm,
            alt_text=mark.alt,
            keep_aspect_ratio=True,
        )


def _plain(content: bytes) -> bytes:
    """Leave out a picture's metadata, which fpdf2 doesn't know."""
    if content.startswith(b"\xff\xd8"):
        return content
    return re.sub(rb"<metadata>.*?</metadata>", b"", content, flags=re.DOTALL)
