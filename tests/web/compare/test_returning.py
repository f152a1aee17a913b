"""A piece that comes back: how it left at drop-off, and the verdict first on its job's page."""

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE


@pytest.fixture
def come_back(browser, take_in, read_line, clock):
    """Send a piece home and take it in again after a year; gives the number of the new job."""

    def come(left=OPEN_LINE):
        job = take_in()
        read_line(job, CLOSE_LINE)
        read_line(job, left, role="as_returned")
        browser.open(f"/jobs/{job}")
        browser.send("form.with-button", stage="returned")
        clock.pass_days(365)
        browser.open("/drop-off?customer=1&piece=1")
        browser.send("main form", do="take_in")
        return int(browser.path.rsplit("/", 1)[1])

    return come


def box(browser):
    return browser.page.select_one("#came-back")


def test_drop_off_shows_how_a_known_piece_left(browser, come_back):
    come_back()
    for address in ("/drop-off?customer=1&piece=1", "/drop-off/pieces?customer=1"):
        browser.open(address)
        label = browser.page.select_one("input[name=piece][value='1']").find_parent("label")
        words = " ".join(label.get_text(" ").split())
        assert "Left 25 November 2026 with 35.5 23.5 13.5 6.5 / 1.13" in words


def test_a_piece_never_measured_is_said_to_be_so(browser, take_in):
    take_in()
    browser.open("/drop-off?customer=1")
    assert "Not measured yet" in browser.text
    browser.open("/jobs/1")
    assert box(browser) is None


def test_the_job_asks_for_readings_as_received_and_then_gives_the_verdict_first(
    browser, come_back, read_line
):
    job = come_back()
    browser.open(f"/jobs/{job}")
    assert "Read it as received before any work" in box(browser).text
    read_line(job, "35.5 23.5 13.5 6.5 / 1.08")
    browser.open(f"/jobs/{job}")
    found = box(browser)
    assert found.select_one("h2").text == "First thing to tell Ottilie Wiesenrauch"
    assert found.select_one(".lead").text.startswith(
        "It has moved: the tip is 0.05 ± 0.03 mm closer. With the same reed it closes about "
    )
    assert "leaves out the lip" in found.text
    assert found.find_next(id="readings") is not None
    browser.open(found.select_one("a.button")["href"])
    assert "has it moved while it was away?" in browser.text


@pytest.mark.parametrize(
    ("line", "heading", "words"),
    [
        (OPEN_LINE, "First thing to tell", "It came back as it left: no change"),
        (
            "35.5 23.5 13.5 6.5 / 1.11",
            "First thing to tell",
            "It came back as it left: no change",
        ),
        (
            "32.5 21.5 11.5 5.5 / 1.13",
            "First thing to tell",
            "It has moved: the facing is 1.50 ± 0.30 mm",
        ),
    ],
)
def test_the_verdict_stands_under_a_heading_that_fits_it(
    browser, come_back, read_line, line, heading, words
):
    job = come_back()
    read_line(job, line)
    browser.open(f"/jobs/{job}")
    assert box(browser).select_one("h2").text.startswith(heading)
    assert box(browser).select_one(".lead").text.startswith(words)


def test_the_first_visit_has_no_verdict_and_a_corrected_reading_changes_it(
    browser, come_back, read_line
):
    job = come_back()
    read_line(job, "35.5 23.5 13.5 6.5 / 1.08")
    browser.open("/jobs/1")
    assert box(browser) is None
    browser.open(f"/jobs/{job}")
    browser.open(browser.page.select_one("#readings tbody a")["href"] + "/correct")
    browser.send("form[data-grid]", tip="1.13", why="misread")
    browser.open(f"/jobs/{job}")
    assert "It came back as it left" in box(browser).text
