"""Papers as PDF and as pages: their words whole, their tags right, the same bytes every time.

Page sizes: ISO 216 for A4 and A5; 8.5 × 11 in for Letter (from memory, both). The PDFs are read by
poppler and pypdf, the codes by zxing: nothing here looks through our own eyes.
"""

import gzip
import io
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from bs4 import BeautifulSoup
from PIL import Image
from pypdf import PdfReader
from zxingcpp import read_barcodes

from app.core.jobs.slips import CARD_KINDS, SLIP_KINDS, Label, LabelSheet, LabelsPart, page_of
from app.core.values.readings import BladeStop, FacingReadings
from app.render.papers import draw_pages, find_unprintable, make_pdf, write_words
from tests.render.hostile import faults_of_svg
from tests.render.paper_cases import (
    ADDRESS,
    MARKUP,
    NAMES,
    ROOT,
    card,
    common,
    paper,
    readings,
    values,
)

PAPERS = ("A4", "Letter")
ONE_PAGE = ("tray_tag", "tray_label")
# each word of a script that needs a font of its own, in Debian's Noto packages
SCRIPTS = (
    "Ἑλληνική Жужуковка",
    "עברית שלום",
    "مرحبا بكم",
    "漢字 かな",
    "王小明",
    "鈴木さくら スズキ",
    "한국어",
    "प्रिया शर्मा",
    "สมชาย ใจดี",
    "😀",
)


def text_of(pdf: bytes, *options: str) -> str:
    """Give a PDF's words as Debian's pdftotext reads them."""
    return subprocess.run(
        ["pdftotext", "-enc", "UTF-8", *options, "-", "-"],
        input=pdf, capture_output=True, check=True,
    ).stdout.decode()  # fmt: skip


def letters(text: str) -> str:
    """Leave out everything but what is seen: line ends, spaces, and places to break a word."""
    return re.sub(r"[\s\-\u00ad\u200b\u202a-\u202e\u2066-\u2069]+", "", text)


def rendered(pdf: bytes, dpi: int, tmp_path: Path) -> Image.Image:
    """Render a PDF's first page by Debian's poppler."""
    (tmp_path / "paper.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-png", "-singlefile", "paper.pdf", "paper"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    return Image.open(tmp_path / "paper.png").convert("L")


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_a_paper_has_its_page_and_no_more_of_them_than_it_needs(kind, size, long):
    made = paper(kind, size, long=long)
    reader = PdfReader(io.BytesIO(make_pdf(made)))
    page = page_of(SLIP_KINDS[kind], size)
    for one in reader.pages:
        assert float(one.mediabox.width) == pytest.approx(page.width_mm / 25.4 * 72, abs=0.1)
        assert float(one.mediabox.height) == pytest.approx(page.height_mm / 25.4 * 72, abs=0.1)
    assert len(draw_pages(made)) == len(reader.pages)
    if kind in CARD_KINDS and not long:
        assert len(reader.pages) == 2
    elif kind in ONE_PAGE or (not long and kind != "piece_record"):
        assert len(reader.pages) == 1


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_no_word_leaves_its_page(kind, size, long):
    page = page_of(SLIP_KINDS[kind], size)
    found = text_of(make_pdf(paper(kind, size, long=long)), "-bbox")
    edge = 0 if kind == "tray_label" else 0.45 * page.side_mm / 25.4 * 72
    wide, high = page.width_mm / 25.4 * 72, page.height_mm / 25.4 * 72
    words = re.findall(
        r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"', found
    )
    assert words
    for word in words:
        left, top, right, foot = map(float, word)
        assert left >= edge - 1
        assert right <= wide - edge + 1
        assert top >= -6  # what poppler measures is the font, not the letter
        assert foot <= high


def strings_in(value) -> list[str]:
    """List every text in a paper's values."""
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [one for part in inner for one in strings_in(part)]


@pytest.mark.parametrize("size", PAPERS)
def test_nothing_is_cut_from_the_slip_that_both_sides_sign(size):
    made = paper("intake_slip", size, long=True)
    told = values("intake_slip", long=True)
    shown = letters(re.sub(r"intake_slip.*page \d+ of \d+", "", text_of(make_pdf(made), "-raw")))
    for text in (
        told.common.request,
        told.common.agreed_work,
        told.common.piece,
        told.common.piece_marks,
        told.common.customer,
        *told.common.customer_lines,
        told.part.condition,
        told.part.came_with,
        told.part.terms,
    ):
        for copy in range(2):
            assert shown.count(letters(text)) >= copy + 1, text[:40]


def test_the_slip_of_a_usual_day_holds_both_copies_on_one_page():
    words = text_of(make_pdf(paper("intake_slip")))
    assert "the customer’s copy" in words
    assert "the shop’s copy" in words
    assert words.count("Zsófia Örkömök-Ballangrütz") == 2


@pytest.mark.parametrize("kind", ["bill", "bench_sheet", "piece_record", "packing_note"])
def test_a_paper_that_grows_says_all_it_was_given(kind):
    made = paper(kind, long=True)
    shown = letters(text_of(make_pdf(made)))
    told = values(kind, long=True)
    for row in getattr(told.part, "lines", ()) or getattr(told.part, "history", ()):
        assert letters(row[0]) in shown
    assert letters(told.common.shop) in shown


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_markup_stays_text(kind):
    given = values(kind)
    hostile = replace(
        given, common=replace(given.common, piece=MARKUP, customer=f"{MARKUP} #panic()")
    )
    if kind == "packing_note":
        hostile = replace(hostile, part=replace(given.part, to=f"{MARKUP} #panic()"))
    made = paper(kind, given=hostile)
    if kind == "packing_note":
        given_part = replace(given.part, to=f"{MARKUP} #panic()")
        made = paper(kind, given=replace(hostile, part=given_part))
    if kind == "tray_label":
        label = Label("7", f"{MARKUP} #panic()", MARKUP, "", ADDRESS, "code-1043.svg")
        made = paper(kind, given=replace(hostile, part=LabelsPart((label,), None)))
    assert letters(MARKUP)[:20] in letters(text_of(make_pdf(made)))
    words = BeautifulSoup(write_words(made), "html.parser")
    assert letters(MARKUP) in letters(words.get_text())
    assert not words.find_all(["b", "script", "img", "style"])


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_the_words_beside_the_pages_are_those_of_the_pdf(kind):
    made = paper(kind)
    beside = BeautifulSoup(write_words(made), "html.parser").get_text(" ")
    alts = " ".join(alts_of(make_pdf(made)))
    printed = letters(text_of(make_pdf(made)) + alts)
    missing = [one for one in beside.split() if letters(one).rstrip(":") not in printed]
    assert not missing
    told = re.compile(r"[^\W\d_]{4,}")
    assert set(told.findall(text_of(make_pdf(made)))) <= {*told.findall(beside), *DRAWN}


# words of the drawings themselves, which their descriptions say otherwise
DRAWN = {
    "drawn",
    "times",
    "high",
    "glass",
    "before",
    "after",
    "page",
    "from",
    "taken",
    "piece",
    "Notes",
}


def tags_of(pdf: bytes):
    """Walk a PDF's structure tree: each element's kind and its dictionary."""
    reader = PdfReader(io.BytesIO(pdf))
    found = []

    def walk(node):
        node = node.get_object()
        if isinstance(node, list):
            for one in node:
                walk(one)
        elif isinstance(node, dict):
            if "/S" in node:
                found.append((node["/S"], node))
            if "/K" in node:
                walk(node["/K"])

    walk(reader.trailer["/Root"]["/StructTreeRoot"])
    return reader, found


def alts_of(pdf: bytes) -> list[str]:
    """List the descriptions of a PDF's pictures."""
    return [str(node["/Alt"]) for kind, node in tags_of(pdf)[1] if kind == "/Figure"]


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_a_paper_is_tagged_for_a_screen_reader(kind):
    pdf = make_pdf(paper(kind))
    reader, found = tags_of(pdf)
    root = reader.trailer["/Root"]
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == f"{kind}, job 1043"
    kinds = Counter(tag for tag, _ in found)
    assert kinds["/P"]
    if kind != "tray_label":
        assert kinds["/H1"] >= 1
    for tag, node in found:
        if tag == "/Figure":
            assert len(str(node["/Alt"]).split()) >= 3, "a picture is told in words"
    if kinds["/Table"]:
        assert kinds["/TH"] >= 2
        heads = [node for tag, node in found if tag == "/TH"]
        assert all("/Scope" in str(node.get("/A")) for node in heads)
    if kind in CARD_KINDS:
        assert kinds["/Figure"] >= 2
        assert kinds["/H2"] >= 2


def test_the_card_front_has_no_word_that_a_musician_would_not_know():
    for long in (False, True):
        pdf = make_pdf(paper("return_card", long=long))
        front = text_of(pdf, "-l", "1")
        assert not re.search(r"χ|µm|inside that curve|break point|k = 2|expanded|arc\b", front)
        assert "You asked" in front


def test_each_figure_stands_with_one_sentence_and_what_was_not_read_is_not_there():
    before, after = readings()
    made = card(before, after).front
    assert [one.label for one in made.figures] == ["Tip opening", "Facing length", "Rails"]
    assert (made.figures[0].before, made.figures[0].after) == ("1.07", "1.15")
    assert (made.figures[1].before, made.figures[1].after) == ("16.75", "18.0")
    one_rail = FacingReadings(left=(BladeStop(0.0381, 17.0), BladeStop(0.254, 11.0)))
    front = card(None, one_rail).front
    assert [one.label for one in front.figures] == ["Facing length"]
    assert front.picture is not None
    assert front.picture.before == ()
    assert front.picture.taken == ()


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, None),
        (readings()[0], None),
        (None, readings()[1]),
        (FacingReadings(tip_opening_mm=1.03), FacingReadings(tip_opening_mm=1.11)),
        (FacingReadings(left=(BladeStop(0.254, 11.0),)), readings()[1]),
        readings("twenty"),
    ],
    ids=["nothing", "received only", "returned only", "tips", "one rail", "twenty blades"],
)
@pytest.mark.parametrize("kind", sorted(CARD_KINDS))
def test_a_card_with_readings_missing_or_many_is_still_a_card(kind, before, after):
    given = replace(values(kind), part=card(before, after))
    for size in PAPERS:
        made = paper(kind, size, given=given)
        words = text_of(make_pdf(made))
        assert "Looking after it" in words
        assert "For the maker" in words
        assert len(draw_pages(made)) <= (3 if kind == "half_card" else 2)


def test_a_shop_without_a_name_or_an_address_still_prints():
    for kind in SLIP_KINDS:
        given = values(kind)
        bare = replace(given, common=replace(given.common, shop="", shop_lines=(), customer=""))
        assert make_pdf(paper(kind, given=bare)).startswith(b"%PDF")


def test_names_of_any_script_come_back_out_of_the_pdf():
    given = values("bill")
    for name in (*SCRIPTS, NAMES, "B♭ ♮ ♯"):
        made = paper("bill", given=replace(given, common=common(customer=name)))
        missing = find_unprintable(made)
        if missing:  # a machine without that font says so, and prints the rest
            assert set(missing) <= set(name), name
            assert name not in {SCRIPTS[0], NAMES, "B♭ ♮ ♯"}, "these fonts are our own"
            assert make_pdf(made).startswith(b"%PDF")
            continue
        assert letters(name) in letters(text_of(make_pdf(made))), name


def test_a_long_address_or_number_breaks_on_paper_and_comes_back_as_it_is():
    long = "a.very.long.name.of.somebody.who.plays@an-equally-long-name-of-a-domain.example"
    number = "012345678901234567890123456789"
    given = values("bill")
    made = paper("bill", given=replace(given, common=common(customer=f"{long}\n{number}")))
    words = text_of(make_pdf(made), "-raw")
    assert "\u200b" not in words + write_words(made)
    assert long in words.replace("\n", "")
    assert number in words
    assert long in write_words(made)


def test_a_letter_without_a_font_is_named():
    given = replace(values("bill"), common=common(customer="Private \U0010fffd use"))
    made = paper("bill", given=given)
    assert find_unprintable(made) == ("\U0010fffd",)
    assert "Private" in text_of(make_pdf(made))
    assert find_unprintable(paper("bill")) == ()


def test_signs_that_cannot_be_printed_are_left_out():
    given = replace(values("bill"), common=common(customer="bell\x07 nul\x00 tab\there"))
    made = paper("bill", given=given)
    assert find_unprintable(made) == ()
    assert "bell nul tab here" in text_of(make_pdf(made))


@pytest.mark.parametrize("kind", SLIP_KINDS)
def test_the_pages_are_pictures_that_neither_act_nor_reach_for_anything(kind):
    for page in draw_pages(paper(kind, long=True)):
        faults = faults_of_svg(gzip.decompress(page).decode())
        assert [one for one in faults if one != "image" and "data:image/" not in one] == []


def test_the_same_values_give_the_same_bytes_in_another_process():
    code = (
        "import hashlib\n"
        "from app.render.papers import draw_pages, make_pdf\n"
        "from tests.render.paper_cases import paper\n"
        "for kind in ('return_card', 'tray_label'):\n"
        "    made = paper(kind)\n"
        "    print(hashlib.sha256(make_pdf(made) + b''.join(draw_pages(made))).hexdigest())\n"
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
def test_the_code_is_read_from_the_rendered_pdf_by_another_decoder(kind, tmp_path):
    for long in (False, True):
        found = read_barcodes(rendered(make_pdf(paper(kind, long=long)), 200, tmp_path))
        assert [one.text for one in found] == [ADDRESS]


def test_labels_lie_where_the_sheet_has_them_and_begin_at_any_position(tmp_path):
    sheet = LabelSheet(3, 8, 0.0, 4.5, 70.0, 36.0, 70.0, 36.0, start=6)
    label = _label_of()
    given = replace(values("tray_label"), part=LabelsPart((label,) * 20, sheet))
    made = replace_page(paper("tray_label", given=given))
    reader = PdfReader(io.BytesIO(make_pdf(made)))
    assert len(reader.pages) == 2, "the twentieth falls onto the next sheet"
    found = read_barcodes(rendered(make_pdf(made), 150, tmp_path))
    assert len(found) == 19
    per_mm = 150 / 25.4
    first = min(
        found,
        key=lambda one: (round(one.position.top_left.y / per_mm / 36), one.position.top_left.x),
    )
    # the sixth place is the third of the second row
    assert first.position.top_left.x / per_mm > 140
    assert 40.5 < first.position.top_left.y / per_mm < 76.5


def _label_of():
    return values("tray_label").part.labels[0]


def replace_page(made):
    """Print labels on a whole sheet of A4."""
    told = re.sub(
        r'"width_mm": 70.0, "height_mm": 36.0, "top_mm"',
        '"width_mm": 210.0, "height_mm": 297.0, "top_mm"',
        made.values,
    )
    assert told != made.values
    return replace(made, values=told)
