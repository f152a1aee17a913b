"""Papers as PDF and as HTML: one page, nothing cut, the same words, the same bytes.

Page sizes: ISO 216 for A4 and A5; 8.5 × 11 in for Letter (from memory, both).
"""

import io
import re
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from bs4 import BeautifulSoup
from PIL import Image
from pypdf import PdfReader
from zxingcpp import read_barcodes

from app.core.jobs.slips import CARD_KINDS, PAGES, SLIP_KINDS, page_of
from app.render.blocks import LOOKS, Columns, Part, Picture, Room, Table
from app.render.codes import draw_code
from app.render.profile import ProfilePicture, compose_profile, draw_profile
from app.render.setting import LEAST_PICTURE_MM, Placed, Stroke, Text
from app.render.slip_layouts import CODE, PROFILE, lay_out
from app.render.slip_pdf import fit_page, make_pdf, set_pages, text_width_mm
from app.render.slips import print_slip
from tests.render.cases import uneven
from tests.render.prints import prints_on
from tests.render.sheets import composed
from tests.render.slip_cases import ADDRESS, NAMES, values

ROOT = Path(__file__).parents[2]
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
CSS = (ROOT / "static" / "paper-1.css").read_text()
ONE_PAGE = [key for key, kind in SLIP_KINDS.items() if kind.one_page]
PAPERS = ("A4", "Letter")


def blocks_of(kind, paper="A4", *, long=False):
    page, given = page_of(SLIP_KINDS[kind], paper), values(kind, long=long)
    if not SLIP_KINDS[kind].one_page:
        return lay_out(kind, given, page), page
    return fit_page(partial(lay_out, kind, given, page), page), page


def drawings(blocks):
    files = {CODE: draw_code(ADDRESS)}
    for one in blocks:
        if isinstance(one, Picture) and one.file == PROFILE:
            files[PROFILE] = draw_profile(shown_on(one))
    return files


def shown_on(place: Picture) -> ProfilePicture:
    return uneven(width_mm=place.width_mm, height_mm=place.height_mm)


def pdf_of(kind, paper="A4", *, long=False) -> bytes:
    blocks, page = blocks_of(kind, paper, long=long)
    return make_pdf(blocks, page, drawings(blocks), title=kind, author="Reed & Rail", made_at=NOON)


def rendered(pdf: bytes, dpi: int, tmp_path: Path) -> Image.Image:
    """Render a PDF's first page by Debian's poppler, not by anything of ours."""
    (tmp_path / "paper.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-png", "-singlefile", "paper.pdf", "paper"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    return Image.open(tmp_path / "paper.png").convert("L")


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("kind", ONE_PAGE)
def test_a_paper_is_one_page_whatever_is_on_it(kind, paper, long):
    reader = PdfReader(io.BytesIO(pdf_of(kind, paper, long=long)))
    page = page_of(SLIP_KINDS[kind], paper)
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert float(box.width) == pytest.approx(page.width_mm / 25.4 * 72, abs=0.1)
    assert float(box.height) == pytest.approx(page.height_mm / 25.4 * 72, abs=0.1)


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_no_word_rule_or_picture_leaves_the_margins_or_is_too_small(kind, paper, long):
    blocks, page = blocks_of(kind, paper, long=long)
    right, foot = page.width_mm - page.side_mm + 0.05, page.height_mm - page.foot_mm + 0.05
    for marks in set_pages(blocks, page):
        for mark in marks:
            if isinstance(mark, Text):
                end, low = mark.x + text_width_mm(mark.text, mark.look), mark.y
                assert mark.look.size_pt >= 9
            elif isinstance(mark, Stroke):
                end, low = max(mark.x, mark.x_end), max(mark.y, mark.y_end)
            else:
                end, low = mark.x + mark.width_mm, mark.y + mark.height_mm
            assert mark.x >= page.side_mm - 0.05, mark
            assert end <= right, mark
            assert low <= foot, mark


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_no_words_are_written_over_others(kind, paper, long):
    blocks, page = blocks_of(kind, paper, long=long)
    for marks in set_pages(blocks, page):
        words = [mark for mark in marks if isinstance(mark, Text) and mark.text.strip()]
        boxes = [
            (
                one.x,
                one.y - one.look.size_pt * 0.2,
                one.x + text_width_mm(one.text, one.look),
                one.y,
            )
            for one in words
        ]
        for at, one in enumerate(boxes):
            for other in boxes[at + 1 :]:
                across = min(one[2], other[2]) - max(one[0], other[0])
                up = min(one[3], other[3]) - max(one[1], other[1])
                assert across < 0.1 or up < 0.1, (words[at].text, other)


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_the_pdf_says_the_same_words_as_the_printed_page(kind):
    blocks, _ = blocks_of(kind)
    html = print_slip(ROOT / "templates", kind, blocks, "/papers/1")
    page = BeautifulSoup(html, "html.parser").get_text(" ")
    text = "\n".join(one.extract_text() for one in PdfReader(io.BytesIO(pdf_of(kind))).pages)
    # A long record repeats its table heads and numbers its pages; no word may be missing.
    # A hyphen ends a line in one and not in the other.
    missing = Counter(_words(page)) - Counter(_words(text))
    assert not missing


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_accented_names_come_out_of_the_pdf_as_they_went_in(kind):
    text = "".join(
        one.extract_text() for one in PdfReader(io.BytesIO(pdf_of(kind, long=True))).pages
    )
    shown = re.sub(r"\s+", "", text)
    assert all(name in shown for name in NAMES.split()[: 1 if kind == "piece_record" else 2])


def test_the_same_values_give_the_same_pdf_in_another_process():
    code = (
        "import hashlib\n"
        "from tests.render.test_slips import pdf_of\n"
        "for kind in ('return_card', 'tray_label'):\n"
        "    print(hashlib.sha256(pdf_of(kind)).hexdigest())\n"
    )
    prints = [
        subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    ]
    assert prints[0] == prints[1]
    assert len(prints[0].split()) == 2


@pytest.mark.parametrize("kind", ["tray_tag", "tray_label"])
def test_the_code_on_a_tag_is_read_from_the_rendered_pdf_by_another_decoder(kind, tmp_path):
    for long in (False, True):
        found = read_barcodes(rendered(pdf_of(kind, long=long), 200, tmp_path))
        assert [one.text for one in found] == [ADDRESS]


@pytest.mark.parametrize("kind", sorted(CARD_KINDS))
def test_the_printed_page_keeps_the_four_curves_apart_in_one_bit(kind, tmp_path):
    blocks, page = blocks_of(kind)
    place = next(mark for mark in set_pages(blocks, page)[0] if isinstance(mark, Placed))
    dpi, picture = 300, shown_on(next(one for one in blocks if isinstance(one, Picture)))
    shot = rendered(pdf_of(kind), dpi, tmp_path).convert("1", dither=Image.Dither.NONE)
    per_mm = dpi / 25.4
    cut = shot.crop(
        tuple(
            round(edge * per_mm)
            for edge in (place.x, place.y, place.x + place.width_mm, place.y + place.height_mm)
        )
    )
    sheet = composed(lambda made: compose_profile(made, picture), place.width_mm, place.height_mm)
    prints = prints_on(~np.asarray(cut), sheet, picture, dpi)
    for state in ("before", "after"):
        left, right = prints[state, "left"], prints[state, "right"]
        assert left.breaks == 0, "the left rail runs on"
        assert right.breaks >= 5, "the right rail is broken"
    for rail in ("left", "right"):
        assert prints["after", rail].thick_mm > 1.4 * prints["before", rail].thick_mm


def test_every_look_width_and_page_has_its_rule_in_the_style_sheet():
    for name, look in LOOKS.items():
        rule = re.search(rf"\.look-{name} {{([^}}]*)}}", CSS)
        assert rule, name
        size = re.search(r"([\d.]+)pt", rule[1])
        assert float(size[1] if size else 9.5) == look.size_pt, name
    for page in PAGES.values():
        rule = re.search(rf"@page sheet-{page.key.lower()} {{ size: ([\d.]+)mm ([\d.]+)mm", CSS)
        assert (float(rule[1]), float(rule[2])) == (page.width_mm, page.height_mm)
        assert f"body.prints-{page.key.lower()} {{" in CSS
    for kind in SLIP_KINDS:
        for block in _walk(blocks_of(kind)[0]):
            if isinstance(block, Table):
                assert sum(block.widths) == 100
                assert all(f".w{width} {{" in CSS for width in block.widths), kind
            if isinstance(block, Columns):
                assert all(f".part-{width} {{" in CSS for width in block.widths), kind


def test_a_picture_takes_what_its_page_has_left_and_the_tag_has_room_to_write():
    for kind in CARD_KINDS:
        short, full = (
            next(one for one in blocks_of(kind, long=long)[0] if isinstance(one, Picture))
            for long in (False, True)
        )
        assert short.height_mm > full.height_mm >= LEAST_PICTURE_MM
    room = next(one for one in blocks_of("tray_tag")[0] if isinstance(one, Room))
    assert room.lines >= 1


def test_a_long_record_repeats_its_table_heads_and_numbers_its_pages():
    reader = PdfReader(io.BytesIO(pdf_of("piece_record", long=True)))
    count = len(reader.pages)
    assert count > 5
    for number, page in enumerate(reader.pages, start=1):
        text = page.extract_text()
        assert f"page {number} of {count}" in text
        assert "What happened" in text or "Thin to thick" in text


def _words(text):
    return text.replace("-\n", "-").replace("- ", "-").split()


def _walk(blocks):
    for block in blocks:
        yield block
        inner = block.columns if isinstance(block, Columns) else ()
        for column in inner:
            yield from _walk(column)
        if isinstance(block, Part):
            yield from _walk(block.blocks)
