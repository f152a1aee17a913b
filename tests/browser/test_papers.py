"""Papers as Chromium prints them: one page on both papers, whatever is on them."""

import io
import subprocess

import pytest
from PIL import Image
from pypdf import PdfReader
from zxingcpp import read_barcodes

from app.core.jobs.slips import SLIP_KINDS, page_of
from tests.browser.work import choose_in_shop, issue, issue_at, keep_line, take_piece_in

SIZES = {"A4": (595, 842), "Letter": (612, 792)}
PAPERS = {"A4": "A4 (210 × 297 mm)", "Letter": "Letter (216 × 279 mm)"}


def printed(page) -> PdfReader:
    page.emulate_media(media="print")
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    page.emulate_media(media="screen")
    return PdfReader(io.BytesIO(data))


@pytest.mark.parametrize("paper", SIZES)
def test_the_return_card_is_one_page_with_long_texts_and_seven_blades(page, paper):
    choose_in_shop(
        page,
        paper=PAPERS[paper],
        blade_set_id="seven blades (0.050 to 0.0015 in)",
        care_text="Keep it dry. " * 50,
        address="Mill Lane 7\nLower Reedham\nFarshire",
    )
    job = take_piece_in(page, "Ælfgifu Łukaszewska-Großmüller of the Long Established Town Band")
    page.goto(f"/jobs/{job}/edit")
    page.locator("#agreed_work").fill("Open it a little and even the rails. " * 20)
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url("**/jobs/*said=kept")
    for line, role in (
        ("34/33 28 22 16 12 6/6.5 – / 1.02 / 0.588", "as_received"),
        ("36 30 24 18 14 7 – / 1.10 / 0.590", "as_returned"),
    ):
        page.goto(f"/jobs/{job}/readings?role={role}")
        page.keyboard.type(line)
        page.get_by_role("button", name="Keep the readings").click()
        page.wait_for_url("**/jobs/*said=readings*")
    issue(page, job, "return_card")
    reader = printed(page)
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == SIZES[paper]
    text = reader.pages[0].extract_text()
    assert "Łukaszewska" in text
    assert "it comes" in text or "Keep it dry" in text
    for kind in ("half_card", "intake_slip", "tray_tag", "tray_label", "bench_sheet"):
        issue(page, job, kind)
        assert len(printed(page).pages) == 1, kind


@pytest.mark.parametrize("paper", SIZES)
def test_the_intake_slip_with_both_copies_is_one_page(page, paper):
    choose_in_shop(page, paper=PAPERS[paper])
    page.goto("/drop-off")
    page.get_by_label("Name", exact=True).fill("Zsófia Örkény-Ballangrud")
    page.locator("#piece_maker").fill("Kestrel Row")
    page.get_by_label("In the player’s own words").fill("It squeaks on long tones. " * 12)
    for label in ("chipped tip rail", "bite marks on the beak", "loose ring", "cap", "ligature"):
        page.get_by_label(label, exact=True).check()
    page.get_by_role("button", name="Take it in").click()
    page.wait_for_url("**/jobs/*said=taken-in")
    job = int(page.url.split("/jobs/")[1].split("?")[0])
    issue(page, job, "intake_slip")
    reader = printed(page)
    assert len(reader.pages) == 1
    text = reader.pages[0].extract_text()
    assert text.count("Örkény-Ballangrud") == 2
    assert "Customer’s copy" in text
    assert "Shop’s copy" in text


@pytest.fixture
def ready_job(page):
    """Take a piece in and measure it twice; gives the job's number."""
    job = take_piece_in(page, "Zsófia Örkény-Ballangrud")
    keep_line(page, job, "34 22/22.5 12 6 / 1.02 / 0.588")
    keep_line(page, job, "36 24 14 7 / 1.10 / 0.588", role="as_returned")
    return job


def addresses(job: int) -> dict[str, str]:
    """Where each kind of paper is previewed."""
    return {
        kind.key: f"/jobs/{job}/papers/{kind.key}"
        if kind.about == "job"
        else f"/pieces/1/papers/{kind.key}"
        for kind in SLIP_KINDS.values()
    }


@pytest.mark.parametrize("paper", SIZES)
def test_every_paper_prints_on_one_page_of_its_own_size(page, ready_job, paper):
    choose_in_shop(page, paper=PAPERS[paper])
    for kind, address in addresses(ready_job).items():
        issue_at(page, address)
        reader, wanted = printed(page), page_of(SLIP_KINDS[kind], paper)
        assert len(reader.pages) == 1, kind
        box = reader.pages[0].mediabox
        assert float(box.width) == pytest.approx(wanted.width_mm / 25.4 * 72, abs=1), kind
        assert float(box.height) == pytest.approx(wanted.height_mm / 25.4 * 72, abs=1), kind
        assert "Örkény" in reader.pages[0].extract_text(), kind


def test_the_code_is_read_off_the_printed_tag_and_leads_to_the_job(
    page, ready_job, address, tmp_path
):
    for kind in ("tray_tag", "tray_label"):
        issue(page, ready_job, kind)
        page.emulate_media(media="print")
        (tmp_path / "tag.pdf").write_bytes(page.pdf(prefer_css_page_size=True))
        page.emulate_media(media="screen")
        subprocess.run(
            ["pdftoppm", "-r", "200", "-png", "-singlefile", "tag.pdf", "tag"],
            cwd=tmp_path, check=True,
        )  # fmt: skip
        found = read_barcodes(Image.open(tmp_path / "tag.png"))
        assert [one.text for one in found] == [f"{address}/jobs/{ready_job}"]
        assert page.goto(found[0].text).ok


def test_no_text_on_a_paper_is_smaller_than_nine_points_or_runs_off_the_right_edge(page, ready_job):
    for kind, address in addresses(ready_job).items():
        page.goto(address)
        sizes = page.evaluate(
            """() => [...document.querySelectorAll('.paper *')]
              .filter(one => [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
              .map(one => parseFloat(getComputedStyle(one).fontSize) * 0.75)"""
        )
        assert min(sizes) >= 9, kind
        over = page.evaluate(
            """() => [...document.querySelectorAll('.paper article *')]
              .filter(one => one.scrollWidth > one.clientWidth + 1 && one.clientWidth > 0
                && getComputedStyle(one).display !== 'inline').map(one => one.outerHTML)"""
        )
        assert over == [], kind


def test_the_pdf_file_is_downloaded_under_a_name_that_says_what_it_is(page, ready_job, tmp_path):
    issue(page, ready_job, "return_card")
    with page.expect_download() as download:
        page.get_by_role("link", name="PDF file").click()
    assert download.value.suggested_filename == f"return-card-job-{ready_job}-slip-1.pdf"
    download.value.save_as(tmp_path / "card.pdf")
    assert "Örkény" in PdfReader(tmp_path / "card.pdf").pages[0].extract_text()
