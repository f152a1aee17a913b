"""Sheets that are only printed: a facing's, a whole batch's, the bench list, labels by the sheet.

What is printed is read by pypdf and zxing. The sheet of 24 labels of 70 × 36 mm is from memory.
"""

import io
import subprocess

import pytest
from PIL import Image
from pypdf import PdfReader
from zxingcpp import read_barcodes

SHEETS = ("/facings/1/sheet", "/batches/1/sheet", "/bench-list", "/labels?of=/jobs/30&of=/jobs/31")
SIZES = {"A4": (595, 842), "Letter": (612, 792)}


def pdf_of(browser, client) -> PdfReader:
    """Give the PDF that the page on show offers to print."""
    answer = client.get(browser.page.select_one("a[href*='paper.pdf']")["href"])
    assert answer.headers["content-type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.content))


@pytest.mark.parametrize("address", SHEETS)
def test_a_sheet_is_shown_page_for_page_as_it_prints(shop_browser, address):
    browser, client = shop_browser, shop_browser.client
    page = browser.open(address)
    assert not page.select("main form[method=post]")
    reader, shown = pdf_of(browser, client), page.select("img.paper-sheet")
    assert len(reader.pages) == len(shown)
    assert client.get(shown[-1]["src"]).headers["content-type"] == "image/svg+xml"
    assert b"pdfuaid:part" in reader.trailer["/Root"]["/Metadata"].get_data()
    assert reader.metadata.title
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == SIZES["A4"]
    assert client.get(address.partition("?")[0] + "/page-99.svgz").status_code == 404


def test_a_batch_prints_whole_its_pieces_with_it(shop_browser):
    browser = shop_browser
    browser.open("/batches/1")
    pieces = [one.text for one in browser.page.select("table.batch tbody th a")]
    verdicts = [one.text for one in browser.page.select("td[data-label=Verdict]")]
    browser.open(browser.page.select_one("a[href$='/sheet']")["href"])
    words = [page.extract_text() for page in pdf_of(browser, browser.client).pages]
    for marking in pieces:
        assert marking in words[0]
        assert any("Full record" in page and marking in page for page in words[1:])
    beside = browser.page.select_one("section.unseen").get_text()
    assert all(one.strip() in beside for one in verdicts)


def test_the_bench_list_on_paper_has_every_open_job(shop_browser):
    browser = shop_browser
    browser.open("/")
    jobs = [one.text.strip() for one in browser.page.select(".bench-group .job-no")]
    gone = [
        one.text.strip() for one in browser.page.select("section[aria-labelledby=gone] .job-no")
    ]
    browser.open("/bench-list")
    printed = [row.td.text.strip() for row in browser.page.select("section.unseen tbody tr")]
    assert sorted(printed) == sorted(set(jobs) - set(gone))


def codes_of(browser, tmp_path, address) -> list:
    """Read the codes of a sheet's first page, as poppler renders it at 150 dots an inch."""
    browser.open(address)
    link = browser.page.select_one("a[href*='paper.pdf']")["href"]
    (tmp_path / "labels.pdf").write_bytes(browser.client.get(link).content)
    subprocess.run(
        ["pdftoppm", "-r", "150", "-png", "-singlefile", "labels.pdf", "labels"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    return read_barcodes(Image.open(tmp_path / "labels.png"))


def test_labels_begin_at_the_chosen_place_and_lead_to_their_jobs(shop_browser, tmp_path):
    found = codes_of(shop_browser, tmp_path, "/labels?of=/jobs/30&of=/jobs/31&start=6")
    assert sorted(one.text.partition("/jobs/")[2] for one in found) == ["30", "31"]
    first = next(one.position.top_left for one in found if one.text.endswith("/30"))
    assert first.x / 150 * 25.4 > 140  # the sixth place is the third of the second row
    assert 40.5 < first.y / 150 * 25.4 < 76.5


def test_a_batch_has_labels_that_lead_to_its_pieces(shop_browser, tmp_path):
    browser = shop_browser
    browser.open("/labels?batch=1")
    wanted = [one["value"] for one in browser.page.select("input[name=of]")]
    assert wanted
    assert not browser.page.select("a[href*='paper.pdf']")
    asked = "&".join(f"of={one}" for one in wanted)
    found = codes_of(browser, tmp_path, f"/labels?batch=1&{asked}")
    assert {one.text.rpartition("/pieces/")[2] for one in found} == {
        one.rpartition("/")[2] for one in wanted
    }


def test_labels_on_a_roll_have_a_page_each(shop_browser):
    browser = shop_browser
    browser.open("/labels?of=/jobs/30&of=/jobs/31&on=roll")
    reader = pdf_of(browser, browser.client)
    assert [round(page.mediabox.width / 72 * 25.4) for page in reader.pages] == [70, 70]


@pytest.mark.parametrize("start", ["0", "25", "999", "-1", "abc", "1000000000000", "½"])
def test_a_place_that_is_none_on_the_sheet_still_prints(shop_browser, start):
    browser = shop_browser
    browser.open(f"/labels?of=/jobs/30&start={start}")
    assert len(pdf_of(browser, browser.client).pages) == 1


@pytest.mark.parametrize(
    "address",
    [
        "/labels/paper.pdf",
        "/labels/paper.pdf?of=/jobs/9999",
        "/labels?batch=99",
        "/facings/99/sheet",
        "/facings/1/sheet/paper.exe",
        "/batches/99/sheet",
        "/batches/99/sheet/paper.pdf",
        "/bench-list/other.svgz",
    ],
)
def test_what_is_not_there_is_said_to_be_not_there(shop_browser, address):
    page = shop_browser.open(address, status=404)
    assert page.h1 is not None
