"""Papers as Chromium prints them: one page on both papers, whatever is on them."""

import io

import pytest
from pypdf import PdfReader

from tests.browser.work import choose_in_shop, issue, keep_line, take_piece_in

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


def test_no_text_on_a_paper_is_smaller_than_nine_points_or_runs_off_the_right_edge(page):
    job = take_piece_in(page)
    keep_line(page, job, "34 22 12 6 / 1.02 / 0.588")
    keep_line(page, job, "36 24 14 7 / 1.10 / 0.588", role="as_returned")
    for kind in ("return_card", "intake_slip"):
        page.goto(f"/jobs/{job}/papers/{kind}")
        sizes = page.evaluate(
            """() => [...document.querySelectorAll('.paper *')]
              .filter(one => [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
              .map(one => parseFloat(getComputedStyle(one).fontSize) * 0.75)"""
        )
        assert min(sizes) >= 9
        page.set_viewport_size({"width": 760, "height": 1100})
        page.emulate_media(media="print")
        over = page.evaluate(
            """() => [...document.querySelectorAll('.paper *')]
              .filter(one => one.scrollWidth > one.clientWidth + 1 && one.clientWidth > 0
                && getComputedStyle(one).display !== 'inline').map(one => one.outerHTML)"""
        )
        assert over == []
        page.emulate_media(media="screen")
