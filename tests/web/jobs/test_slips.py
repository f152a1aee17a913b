"""Papers through their pages: previewed, issued once, kept as printed, each with its PDF."""

import io
import re
from collections import Counter

import pytest
from pypdf import PdfReader
from sqlalchemy import func, select

from app.core.jobs.slips import SLIP_KINDS, kinds_about
from app.store.tables import Slip, SlipFile
from tests.lines import RECEIVED_LINE, RETURNED_LINE


@pytest.fixture
def job(take_in, read_line):
    """Take a piece in and measure it as received and as returned."""
    number = take_in("Zsófia Łukołapkowa", customer_address="Am Hafen 12\nŁąkonigdzie")
    read_line(number, RECEIVED_LINE)
    read_line(number, RETURNED_LINE, role="as_returned")
    return number


def preview_of(kind, job):
    return (
        f"/jobs/{job}/papers/{kind}"
        if "job" in SLIP_KINDS[kind].about
        else (f"/pieces/1/papers/{kind}")
    )


NUMBERED = [key for key, kind in SLIP_KINDS.items() if kind.numbered]


def issue(browser, kind, job) -> int:
    browser.open(preview_of(kind, job))
    browser.send("main form")
    return int(browser.path.rsplit("/", 1)[1])


def words_beside(browser) -> list[str]:
    """Read the paper's words for screen readers: in the page, or of an issued one in a frame."""
    if frame := browser.page.select_one("iframe"):
        assert frame["sandbox"] == ["allow-same-origin"]
        browser.open(frame["src"])
        return browser.page.body.get_text(" ").split()
    return browser.page.select_one("section.unseen").get_text(" ").split()


def test_a_kept_page_can_run_and_send_nothing(browser, client, job):
    number = issue(browser, "intake_slip", job)
    answer = client.get(f"/papers/{number}/kept")
    policy = answer.headers["content-security-policy"].split("; ")
    assert {"sandbox allow-same-origin", "default-src 'none'", "form-action 'none'"} <= set(policy)
    assert not [one for one in policy if one.startswith("script-src")]
    assert "frame-src 'self'" in client.get("/").headers["content-security-policy"]
    assert client.get("/papers/999/kept").status_code == 404


@pytest.mark.parametrize("kind", NUMBERED)
def test_each_paper_is_previewed_issued_and_listed_with_its_number(browser, client, job, kind):
    browser.open(preview_of(kind, job))
    before = words_beside(browser)
    number = issue(browser, kind, job)
    after = words_beside(browser)
    browser.open(f"/papers/{number}")
    assert not Counter(before) - Counter(after) - Counter(["2026", "2026"])
    assert set(after) - set(before) <= {"·", "slip", "no.", "2026,", str(number)}
    pages = browser.page.select("img.paper-sheet")
    assert pages
    for picture in pages:
        answer = client.get(picture["src"])
        assert answer.headers["content-type"] == "image/svg+xml"
        assert answer.text.startswith("<svg")
    assert f"no. {number}" in browser.text
    browser.open(f"/jobs/{job}" if "job" in SLIP_KINDS[kind].about else "/pieces/1")
    assert browser.page.select_one(f"a[href='/papers/{number}']")


@pytest.mark.parametrize("kind", sorted(set(SLIP_KINDS) - set(NUMBERED)))
def test_tags_labels_and_bench_sheets_are_printed_without_a_number(
    browser, client, sessions, job, kind
):
    page = browser.open(preview_of(kind, job))
    assert not page.select("main form")
    pdf = client.get(page.select_one("a[href$='paper.pdf']")["href"])
    assert pdf.headers["content-type"] == "application/pdf"
    assert "Łukołapkowa" in PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()
    data = {"token": "a-form-of-somebody-else"}
    assert client.post(preview_of(kind, job), data=data).status_code == 404
    with sessions.read() as session:
        assert session.scalar(select(func.count()).select_from(Slip)) == 0


def test_the_preview_and_the_pdf_are_of_the_same_pages(browser, client, job):
    browser.open(preview_of("return_card", job))
    pages = browser.page.select("img.paper-sheet")
    pdf = client.get(preview_of("return_card", job) + "/paper.pdf").content
    assert len(PdfReader(io.BytesIO(pdf)).pages) == len(pages) == 2
    assert client.get(preview_of("return_card", job) + "/page-3.svgz").status_code == 404


def test_the_job_offers_every_paper_of_a_job_and_says_what_each_is_for(browser, job):
    browser.open(f"/jobs/{job}")
    for kind in kinds_about("job"):
        assert browser.page.select_one(f"#papers a[href='{preview_of(kind.key, job)}']")
        assert kind.purpose in browser.text


@pytest.mark.parametrize("kind", NUMBERED)
def test_pages_words_and_pdf_are_kept_and_never_change(browser, client, job, kind):
    number = issue(browser, kind, job)
    first = client.get(f"/papers/{number}/paper.pdf")
    page, words = client.get(f"/papers/{number}/page-1.svgz").content, words_beside(browser)
    assert first.headers["content-type"] == "application/pdf"
    name = re.search(r'filename="([\w-]+\.pdf)"', first.headers["content-disposition"])[1]
    assert name.startswith(kind.replace("_", "-"))
    assert name.endswith(f"-slip-{number}.pdf")
    browser.open("/settings")
    browser.send("main form", name="Another name", paper="Letter")
    browser.open("/customers/1/edit")
    browser.send("main form", name="Another Customer")
    again = client.get(f"/papers/{number}/paper.pdf")
    assert again.content == first.content
    assert client.get(f"/papers/{number}/page-1.svgz").content == page
    browser.open(f"/papers/{number}")
    assert words_beside(browser) == words
    reader = PdfReader(io.BytesIO(again.content))
    text = "".join(page.extract_text() for page in reader.pages)
    assert "Łukołapkowa" in text.replace("\n", "")
    assert f"slip {number}" in reader.metadata.title
    again = client.get(
        f"/papers/{number}/paper.pdf", headers={"If-None-Match": first.headers["etag"]}
    )
    assert again.status_code == 304


def test_a_paper_issued_twice_by_a_double_press_is_one_paper(browser, client, sessions, job):
    browser.open(preview_of("return_card", job))
    data = {"token": browser.page.select_one("main form [name=token]")["value"]}
    places = {
        client.post(preview_of("return_card", job), data=data, follow_redirects=False).headers[
            "location"
        ]
        for _ in range(2)
    }
    assert len(places) == 1
    with sessions.read() as session:
        assert session.scalar(select(func.count()).select_from(Slip)) == 1
        assert set(session.scalars(select(SlipFile.name))) == {
            "page-1.svgz",
            "page-2.svgz",
            "paper.pdf",
        }


def test_the_half_page_card_makes_a_play_tested_job_ready_like_the_whole_one(browser, job):
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="play_test")
    issue(browser, "half_card", job)
    browser.open(f"/jobs/{job}")
    assert browser.page.select_one(".stages [aria-current=step]").text == "ready"


def test_a_tag_says_that_its_code_leads_only_to_this_machine(browser, job):
    browser.open(preview_of("tray_tag", job))
    assert "only this machine can follow" in browser.text
    browser.open(preview_of("return_card", job))
    assert "only this machine can follow" not in browser.text


def test_a_corrected_reading_stands_in_the_full_record_with_its_reason(browser, job):
    browser.open(f"/jobs/{job}")
    last = browser.page.select("#readings tbody a")[-1]["href"]
    browser.open(f"{last}/correct")
    browser.send("form[data-grid]", tip="1.14", why="misread the wedge")
    browser.open(preview_of("piece_record", job))
    assert "replaced by a correction" in browser.text
    assert "corrected: misread the wedge" in browser.text
    assert "Zsófia Łukołapkowa" in browser.text


def test_the_packing_note_lists_what_came_with_the_piece_and_the_card(browser, take_in):
    job = take_in(came_with=["cap", "ligature"], customer_address="Am Hafen 12\nŁąkonigdzie")
    card = issue(browser, "return_card", job)
    browser.open(preview_of("packing_note", job))
    rows = [row.td.text for row in browser.page.select("section.unseen tbody tr")]
    assert rows == ["Kestrel Row “N4”", "cap", "ligature", "return card"]
    assert f"slip {card}" in browser.text
    assert "Łąkonigdzie" in browser.text


@pytest.mark.parametrize(
    "address",
    [
        "/jobs/1/papers/no_such_kind",
        "/jobs/1/papers/piece_record",
        "/pieces/1/papers/return_card",
        "/jobs/1/papers/return_card/page-9.svgz",
        "/jobs/1/papers/return_card/code.svg",
        "/jobs/1/papers/return_card/paper.exe",
        "/papers/99",
        "/papers/99/paper.pdf",
        "/papers/1/other.pdf",
        "/papers/1/other.html",
    ],
)
def test_what_is_not_there_is_said_to_be_not_there(browser, job, address):
    issue(browser, "return_card", job)
    browser.open(address, status=404)
    assert "There is no" in browser.text or "has no such" in browser.text


def test_a_check_of_the_bore_gauge_counts_where_only_one_set_rests_on_it(
    browser, take_in, read_line
):
    job = take_in()

    def bore_row():
        browser.open(preview_of("return_card", job))
        return next(row.text for row in browser.page.select("tr") if "Exit bore" in row.text)

    for role, day in (("as_received", "2026-11-02"), ("as_returned", "2026-11-20")):
        read_line(job, "35.5 23.5 13.5 6.5 / 1.13 / 0.583", role=role, taken_on=day)
    # no study yet: 0.01 mm assumed, and the step: 2·√2·√(0.00733² + 0.01²) = 0.035 mm
    assert "± 0.04" in bore_row()
    browser.open("/gauges")
    plug = next(a["href"] for a in browser.page.select("main a") if a.text == "Bore gauge, inches")
    browser.open(plug)
    for day, expanded in (("2026-11-10", "± 0.05"), ("2026-11-01", "± 0.04")):
        browser.open(plug)
        browser.send("form[action$='/checks']", checked_on=day, mark="0.583",
                     actual="0.583", unit="length_in", u="0.02")  # fmt: skip
        if day == "2026-11-01":
            # the check of the 10th is struck out: both sets rest on that of the 1st, and it cancels
            strike = browser.page.select("form[action$='/strike']")
            browser.send(f"form[action='{strike[0]['action']}']", do="strike")
        # of one set only: 2·√(2·(0.00733² + 0.01²) + 0.02²) = 0.053 mm
        assert expanded in bore_row()
