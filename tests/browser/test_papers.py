"""Papers in Chromium: shown as pages, printed as PDF, the code read off a tag."""

import io
import sqlite3
import subprocess
from contextlib import closing
from urllib.parse import urljoin

import pytest
from PIL import Image
from pypdf import PdfReader
from zxingcpp import read_barcodes

from app.core.jobs.slips import SLIP_KINDS, page_of
from tests.browser.work import choose_in_shop, issue, issue_at, keep_line, take_piece_in

SIZES = {"A4": (595, 842), "Letter": (612, 792)}
PAPERS = {"A4": "A4 (210 × 297 mm)", "Letter": "Letter (216 × 279 mm)"}


def kept_pdf(page) -> PdfReader:
    """Give the PDF that the page on show offers to print."""
    address = page.locator("a[href*='paper.pdf']").first.get_attribute("href")
    return PdfReader(io.BytesIO(page.request.get(urljoin(page.url, address)).body()))


@pytest.fixture
def ready_job(page):
    """Take a piece in and measure it twice; gives the job's number."""
    job = take_piece_in(page, "Zsófia Örkömök-Ballangrütz")
    keep_line(page, job, "33.5 21/21.5 11.5 5.5 / 1.07 / 0.585")
    keep_line(page, job, "36 23 13.5 6.5 / 1.15 / 0.585", role="as_returned")
    return job


def addresses(job: int) -> dict[str, str]:
    """Where each kind of paper is previewed."""
    return {
        kind.key: f"/jobs/{job}/papers/{kind.key}"
        if "job" in kind.about
        else f"/pieces/1/papers/{kind.key}"
        for kind in SLIP_KINDS.values()
    }


@pytest.mark.parametrize("paper", SIZES)
def test_every_paper_is_shown_and_prints_on_its_own_size(page, ready_job, paper):
    choose_in_shop(page, paper=PAPERS[paper])
    for kind, address in addresses(ready_job).items():
        if SLIP_KINDS[kind].numbered:
            issue_at(page, address)
        else:
            page.goto(address)
        page.wait_for_load_state("networkidle")
        shown = page.evaluate(
            "() => [...document.querySelectorAll('img.paper-sheet')].map(one => one.naturalWidth)"
        )
        reader, wanted = kept_pdf(page), page_of(SLIP_KINDS[kind], paper)
        assert len(shown) == len(reader.pages), kind
        assert min(shown) > 100, kind
        box = reader.pages[0].mediabox
        assert float(box.width) == pytest.approx(wanted.width_mm / 25.4 * 72, abs=1), kind
        assert float(box.height) == pytest.approx(wanted.height_mm / 25.4 * 72, abs=1), kind
        assert "Örkömök" in reader.pages[0].extract_text(), kind


def test_the_code_is_read_off_the_printed_tag_and_leads_to_the_job(
    page, ready_job, address, tmp_path
):
    for kind in ("tray_tag", "tray_label"):
        page.goto(addresses(ready_job)[kind])
        pdf = page.request.get(f"{address}{addresses(ready_job)[kind]}/paper.pdf").body()
        (tmp_path / "tag.pdf").write_bytes(pdf)
        subprocess.run(
            ["pdftoppm", "-r", "200", "-png", "-singlefile", "tag.pdf", "tag"],
            cwd=tmp_path, check=True,
        )  # fmt: skip
        found = read_barcodes(Image.open(tmp_path / "tag.png"))
        assert [one.text for one in found] == [f"{address}/jobs/{ready_job}"]
        assert page.goto(found[0].text).ok


def test_the_words_are_there_for_a_screen_reader_and_no_button_is_printed(page, ready_job):
    issue(page, ready_job, "return_card")
    words = page.frame_locator("iframe[title='The words on this paper']").locator("body")
    assert "Looking after it" in words.inner_text()
    page.emulate_media(media="print")
    assert page.locator("main form:visible, main button:visible, main .button:visible").count() == 0


def test_the_pdf_file_is_downloaded_under_a_name_that_says_what_it_is(page, ready_job, tmp_path):
    issue(page, ready_job, "return_card")
    with page.expect_download() as download:
        page.get_by_role("link", name="Save the PDF").click()
    assert download.value.suggested_filename == f"return-card-job-{ready_job}-slip-1.pdf"
    download.value.save_as(tmp_path / "card.pdf")
    assert "Örkömök" in PdfReader(tmp_path / "card.pdf").pages[0].extract_text()


def test_what_a_kept_page_would_run_does_not_run(page, book, ready_job):
    issue_at(page, addresses(ready_job)["intake_slip"])
    number = page.url.split("/papers/")[1].split("?")[0]
    running = "top.document.title='ran'"
    hostile = f'<p>kept words</p><script>{running}</script><img src=x onerror="{running}">'
    with closing(sqlite3.connect(book / "book.sqlite3")) as book, book:
        book.execute("UPDATE slip SET html = ?", [hostile])
    page.goto(f"/papers/{number}")
    frame = page.frame_locator("iframe")
    assert frame.locator("p").inner_text() == "kept words"
    page.wait_for_load_state("networkidle")
    assert "ran" not in page.title()
