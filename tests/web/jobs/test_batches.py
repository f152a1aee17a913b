"""Batches: begun, read piece by piece, judged against the target, drawn as run charts."""

import re

import pytest

from tests.lines import OPEN_LINE


@pytest.fixture
def begin(browser):
    """Write a facing down and begin a batch of three to it; gives the batch's address."""

    def start(**typed):
        browser.open("/facings/new")
        browser.send(
            "main form", name="Shop five", told_by="readings", line=OPEN_LINE,
            position_tolerance="0.5", tip_tolerance="0.02", gap_tolerance="",
        )  # fmt: skip
        browser.open(browser.page.select_one("a[href^='/batches/new']")["href"])
        browser.send("main form", **{"name": "Spring run", "count": "3", "marking": "M5-##",
                                     **typed})  # fmt: skip
        return browser.path

    return start


@pytest.fixture
def read_piece(browser):
    """Read a piece of the batch through the page its row leads to."""

    def read(piece, line):
        browser.open(f"/pieces/{piece}/readings")
        browser.send("form[data-grid]", line=line)
        if "Unusual, but possible" in browser.text:
            browser.send("form[data-grid]")
        assert re.match(r"/readings/|/pieces/[0-9]+/readings|/batches/", browser.path), browser.text

    return read


def rows(browser):
    return {
        row.select_one("th a").text: [" ".join(cell.get_text(" ").split())
                                      for cell in row.select("td")]
        for row in browser.page.select("table.batch tbody tr")
    }  # fmt: skip


def test_reading_goes_on_from_piece_to_piece_and_ends_with_the_batch(browser, begin, read_piece):
    address = begin()
    read_piece(2, OPEN_LINE)
    assert browser.path == "/pieces/1/readings"
    assert browser.page.select_one(".said").text == "Kept. Next: M5-01."
    aims = [one.text for one in browser.page.select(".now-table tbody .aim")]
    assert aims[:2] == ["35.5", "23.5"]
    read_piece(1, OPEN_LINE)
    assert browser.path == "/pieces/3/readings"
    read_piece(3, OPEN_LINE)
    assert browser.path == address
    read_piece(3, OPEN_LINE)
    assert browser.path.startswith("/readings/")


def test_a_batch_writes_its_pieces_down_as_the_shops_own(browser, begin):
    address = begin()
    assert address == "/batches/1"
    assert list(rows(browser)) == ["M5-01", "M5-02", "M5-03"]
    assert "3 pieces, none read yet." in browser.text
    assert browser.page.select_one("a.do")["href"] == "/pieces/1/readings"
    browser.open("/pieces/2")
    assert "piece 2 of Spring run" in browser.text
    assert "The workshop Spring run “M5-02”" in browser.text
    browser.open("/customers/1")
    assert browser.page.select_one("h1").text == "The workshop"
    browser.open(address)
    browser.send("form[action$=pieces]", count="1")
    assert list(rows(browser))[-1] == "M5-04"
    browser.open("/customers")
    assert browser.text.count("The workshop") == 1


def test_each_piece_is_held_against_the_target(browser, begin, read_piece):
    address = begin()
    read_piece(1, OPEN_LINE)
    read_piece(2, "35.5 22.5/23.5 12/13.5 4.5/6.5 / 1.18")
    browser.open(address)
    found = rows(browser)
    assert found["M5-01"] == [
        "35.5 23.5 13.5 6.5 / 1.13 25 November 2026", "0", "0", "0", "0", "0", "Within tolerance",
    ]  # fmt: skip
    assert found["M5-02"][1:] == [
        "+0.05", "−2/0", "−1.5/0", "−1/0", "0",
        "Out: tip 0.05 mm too open, 0.03 beyond; 0.034 in left 2 short, 1 beyond; 0.024 in left "
        "1.5 short, 0.5 beyond. Only the table can bring it back. "
        "Cannot tell: 0.010 in left 1 short.",
    ]  # fmt: skip
    assert "Of 2 read, 1 is within tolerance, 1 out of it. 1 still to read." in browser.text
    assert browser.page.select_one("a.do").text == "Read M5-03"


def test_a_reading_to_take_again_judges_no_piece(browser, begin, read_piece):
    address = begin()
    read_piece(1, "35.5 19.5/23.5 13.5 6.5 / 1.13")
    browser.open(address)
    found = rows(browser)["M5-01"]
    assert found[0].startswith("35.5 19.5/23.5 13.5 6.5")
    assert found[-1] == "Cannot tell: 0.010 in left to be read again."


def test_the_run_charts_are_pictures_with_a_tag(browser, client, begin, read_piece):
    address = begin()
    read_piece(1, OPEN_LINE)
    browser.open(address)
    assert not browser.page.select("img.picture")
    assert client.get(f"{address}/tip.svg").status_code == 404
    read_piece(2, "35.5 23.5 13.5 6.5 / 1.15")
    browser.open(address)
    assert [one["src"] for one in browser.page.select("img.picture")] == [
        f"{address}/tip.svg", f"{address}/length.svg",
    ]  # fmt: skip
    for one in ("tip.svg", "length.svg", "tip.svg?size=small"):
        answer = client.get(f"{address}/{one}")
        assert answer.headers["content-type"] == "image/svg+xml"
        tag = answer.headers["etag"]
        again = client.get(f"{address}/{one}", headers={"If-None-Match": tag})
        assert again.status_code == 304
    assert client.get(f"{address}/colour.svg").status_code == 404


def test_what_lies_at_the_limit_is_said_to_be_untold(browser, begin, read_piece):
    address = begin()
    read_piece(1, "35.5 24.5 13.5 6.5 / 1.13")
    browser.open(address)
    assert rows(browser)["M5-01"][-1] == ("Cannot tell: 0.010 in on both rails 1 too far.")
    assert "Of 1 read, 0 are within tolerance, and of 1 the gauges can’t tell." in browser.text
    assert "ISO 14253-1" in browser.text


def test_a_piece_leaves_its_batch_comes_back_and_both_stay_written(browser, begin, read_piece):
    address = begin()
    read_piece(1, OPEN_LINE)
    read_piece(2, "35.5 23.5 13.5 6.5 / 1.33")
    browser.open(address)
    browser.send("form[action$='/pieces/2/leave']", do="leave")
    assert "The piece left the batch" in browser.text
    assert list(rows(browser)) == ["M5-01", "M5-03"]
    assert "The one read is within tolerance." in browser.text
    assert "M5-02 left on 25 November 2026" in browser.text
    assert "until 25 November 2026: M5-02: was in it" in browser.text
    browser.open("/pieces/2")
    assert "of Spring run" not in browser.text
    assert "35.5 23.5 13.5 6.5 / 1.33" in browser.text
    browser.open("/batches")
    assert "2 pieces" in browser.text
    browser.open(address)
    page = browser.send("form[action$=pieces]", status=422, count="1", marking="M5-##", first="2")
    assert "M5-02 is in this batch already" in browser.text
    assert page.select_one("#first")["value"] == "2"
    browser.send("form[action$='/pieces/2/leave']", do="bring_back")
    assert list(rows(browser)) == ["M5-01", "M5-02", "M5-03"]
    assert "M5-02: had left" in browser.text
    assert browser.client.post(f"{address}/pieces/99/leave").status_code == 404


def test_a_refused_batch_comes_back_as_typed(browser, begin):
    begin()
    browser.open("/batches/new")
    page = browser.send("main form", status=422, name="Autumn run", count="x", marking="A#")
    assert page.select_one("#name")["value"] == "Autumn run"
    assert page.select_one("#count")["value"] == "x"
    assert "Choose the facing" in browser.text
    for link in page.select(".problems a"):
        assert page.select_one(f"[id='{link['href'][1:]}']") is not None
    browser.open("/batches/1")
    page = browser.send("form[action$=pieces]", status=422, count="5000")
    assert page.select_one("#count")["value"] == "5000"
    assert page.select_one("details[open] form[action$=pieces]") is not None


def test_a_batch_is_corrected_and_two_windows_lose_nothing(browser, begin):
    address = begin()
    browser.open(f"{address}/edit")
    stale = browser.page
    browser.send("main form", name="Spring run, first half")
    assert browser.page.select_one("h1").text == "Spring run, first half"
    browser.page, browser.path = stale, f"{address}/edit"
    browser.send("main form", status=409, name="Spring run A")
    assert "Spring run, first half" in browser.text
    assert "Spring run A" in browser.text


def test_what_a_customers_job_did_later_says_nothing_of_the_batch(
    browser, begin, read_piece, clock
):
    address = begin()
    read_piece(1, OPEN_LINE)
    browser.open("/drop-off")
    browser.send("main form", do="take_in", customer="new", customer_name="Ben Auerhahnfeder",
                 piece="new", piece_marking="other")  # fmt: skip
    browser.open("/pieces/1/owner?find=auer")
    browser.send("main form[method=post]", owner="2")
    clock.pass_days(30)
    browser.open("/drop-off?customer=2&piece=1")
    browser.send("main form", do="take_in")
    browser.open(f"{browser.path}/readings?role=as_received")
    browser.send("form[data-grid]", line="39.5 27.5 15.5 7.5 / 1.33")
    browser.open(address)
    assert rows(browser)["M5-01"][-1] == "Within tolerance"
    assert "now Ben Auerhahnfeder’s" in browser.text


def test_batches_are_reached_from_facings_and_the_shop(browser, begin):
    begin()
    for address in ("/facings", "/settings"):
        browser.open(address)
        assert browser.page.select_one("main a[href='/batches']") is not None
    browser.open("/batches")
    assert "Spring run" in browser.text
    browser.open("/facings/1")
    assert browser.page.select_one("a[href='/batches/1']") is not None


@pytest.mark.parametrize("path", ["/batches/9", "/batches/9/edit", "/batches/9/tip.svg"])
def test_a_batch_that_is_not_there_is_said_to_be_so(browser, path):
    browser.open(path, status=404)
    assert "no such batch" in browser.text


def test_without_a_facing_the_way_to_one_is_shown(browser):
    browser.open("/batches")
    assert browser.page.select_one("a.do")["href"] == "/facings/new"
    browser.open("/batches/new")
    assert browser.page.select_one("#facing a[href='/facings/new']") is not None


def test_duplicates_of_a_loved_piece_are_a_batch_in_one_step(browser, take_in, read_line):
    read_line(take_in(piece_marking="N4"), OPEN_LINE, "as_returned")
    browser.open("/pieces/1")
    browser.open(browser.page.select_one("a[href^='/batches/new?from_set=']")["href"])
    browser.send("main form", status=422, name="Like the N4", count="2")
    assert "Write how they are marked" in browser.text
    browser.open("/facings")
    assert "Same as" not in browser.text  # nothing is kept of a page that was refused
    browser.open("/batches/new?from_set=1")
    browser.send("main form", name="Like the N4", count="2", marking="D-#")
    assert list(rows(browser)) == ["D-1", "D-2"]
    target = browser.page.select_one("main a[href^='/facings/']")
    assert target.text == "Same as Kestrel Row “N4”, 25 November 2026"
    assert OPEN_LINE in browser.text
    assert "none: judged by" not in browser.text  # the shop's usual tolerances
    browser.open("/batches/new?from_set=1")
    browser.send("main form", name="And two more", count="2", marking="E-#")
    assert browser.page.select_one("main a[href^='/facings/']")["href"] == target["href"]
