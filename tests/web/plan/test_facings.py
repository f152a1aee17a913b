"""The facings library's pages: written down, corrected, put aside, printed for any blade set."""

import re

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE, RECEIVED_LINE


@pytest.fixture
def write_down(browser):
    """Write a facing down through the page; gives its address."""

    def write(**typed):
        browser.open("/facings/new")
        browser.send(
            "main form",
            **{
                "name": "Shop five",
                "told_by": "readings",
                "line": OPEN_LINE,
                **typed,
            },
        )
        return browser.path

    return write


def numbers(page):
    """Give the table of numbers: blade to the figure."""
    return {
        row.select_one("th").text: row.select_one("td").text
        for row in page.select(".numbers tbody tr")
    }


def test_a_facing_by_readings_shows_its_numbers_thick_to_thin(browser, write_down):
    write_down()
    assert browser.page.select_one(".notebook-line").text == OPEN_LINE
    assert list(numbers(browser.page).items()) == [
        ("0.034 in", "6.5"), ("0.024 in", "13.5"), ("0.010 in", "23.5"), ("0.0015 in", "35.5"),
        ("Tip opening", "1.13"),
    ]  # fmt: skip
    browser.open("/facings")
    assert "Shop five" in browser.text
    assert OPEN_LINE in browser.text


def test_a_plain_facing_stops_the_thinnest_blade_where_it_was_told_to(browser, write_down):
    address = write_down(told_by="plain", line="", length="35.5", tip_opening="1.13")
    assert numbers(browser.page)["0.0015 in"] == "35.5"
    assert "circular arc" in browser.text
    browser.open(f"{address}?blade_set=2&glass=glass_mm")
    found = numbers(browser.page)
    assert found["0.0015 in"] == "17.75"
    assert found["0.050 in"] == "does not go in"
    assert len(found) == 8
    sheet = browser.page.select_one("a.do")["href"]
    words = browser.open(sheet).select_one("section.unseen")
    shown = {
        row.td.text.strip(): row.select("td")[1].text.strip() for row in words.select("tbody tr")
    }
    assert shown == {blade: stop.replace("does not go in", "–") for blade, stop in found.items()}
    assert "whole millimetres" in words.text
    assert browser.page.select_one("a.do")["href"].endswith("paper.pdf?blade_set=2&glass=glass_mm")


def test_readings_are_copied_into_the_library_with_the_day_they_were_taken(
    browser, take_in, read_line
):
    job = take_in()
    read_line(job, RECEIVED_LINE)
    browser.open(browser.page.select_one("#readings tbody a")["href"])
    browser.open(browser.page.select_one("a[href*=from_set]")["href"])
    browser.send("main form", name="Like this one")
    assert browser.page.select_one(".notebook-line").text == "33.5 21.5/22 11.5 5.5 / 1.05"
    assert "copied from readings of 25 November 2026" in browser.text


def test_a_refused_facing_comes_back_with_all_that_was_typed(browser):
    browser.open("/facings/new")
    page = browser.send(
        "main form", status=422, name="", told_by="readings", line="35.5 23.5 x 6.5 / 1.13",
        gap_tolerance="nine", note="for loud rooms",
    )  # fmt: skip
    assert page.title.text.startswith("Error: ")
    for link in page.select(".problems a"):
        assert page.select_one(f"[id='{link['href'][1:]}']") is not None
    assert page.select_one("#line")["value"] == "35.5 23.5 x 6.5 / 1.13"
    assert page.select_one("#gap_tolerance")["value"] == "nine"
    assert page.select_one("#note").text.strip() == "for loud rooms"


def test_a_correction_keeps_the_earlier_numbers_and_reaches_the_jobs(
    browser, write_down, take_in, read_line
):
    address = write_down()
    job = take_in()
    read_line(job, CLOSE_LINE)
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="facing-1")
    browser.open(f"{address}/edit")
    assert browser.page.select_one("#line")["value"] == OPEN_LINE
    browser.send("main form", line="35.5 23.5 12.5 6.5 / 1.11")
    assert browser.page.select_one(".notebook-line").text == "35.5 23.5 12.5 6.5 / 1.11"
    assert "numbers: 35.5 23.5 13.5 6.5 / 1.13" in browser.text
    assert f"/jobs/{job}" in [a["href"] for a in browser.page.select(".job-list a")]
    browser.open(f"/jobs/{job}/plan")
    assert "35.5 23.5 12.5 6.5 / 1.11" in browser.text


def test_a_facing_of_another_blade_set_is_corrected_with_the_set_it_was_read_with(
    browser, write_down
):
    line = "44.5 39.5 33.5 28.5 23.5 18.5 12.5 / 2.03"
    address = write_down(line=line, blade_set="2")
    browser.open(f"{address}/edit")
    assert browser.page.select_one("#blade_set option[selected]")["value"] == "2"
    assert browser.page.select_one("#line")["value"] == line
    browser.send("main form", note="for loud rooms")
    assert "for loud rooms" in browser.text


def test_two_windows_on_one_facing_give_a_conflict_and_lose_nothing(browser, write_down):
    address = write_down()
    browser.open(f"{address}/edit")
    stale = browser.page
    browser.send("main form", line="35.5 23.5 12.5 6.5 / 1.11")
    browser.page, browser.path = stale, f"{address}/edit"
    browser.send("main form", status=409, line="35.5 24.5 13.5 6.5 / 1.15")
    assert "35.5 24.5 13.5 6.5 / 1.15" in browser.text
    assert "35.5 23.5 12.5 6.5 / 1.11" in browser.text
    browser.send("main form")
    assert browser.page.select_one(".notebook-line").text == "35.5 24.5 13.5 6.5 / 1.15"


def test_a_facing_put_aside_leaves_the_library_and_comes_back(browser, write_down):
    address = write_down()
    browser.send("form[action$=place]", do="aside")
    browser.open("/facings")
    assert "Put aside, or for one job only (1)" in browser.text
    browser.open(address)
    browser.send("form[action$=place]", do="keep")
    browser.open("/facings")
    assert "Put aside" not in browser.text


def test_a_facing_has_a_picture_in_two_sizes(client, write_down):
    address = write_down()
    drawn = {size: client.get(f"{address}/profile.svg?size={size}") for size in ("screen", "small")}
    assert {answer.status_code for answer in drawn.values()} == {200}
    assert len({answer.content for answer in drawn.values()}) == 2
    tag = drawn["screen"].headers["etag"]
    again = client.get(f"{address}/profile.svg", headers={"If-None-Match": tag})
    assert again.status_code == 304


@pytest.mark.parametrize("path", ["/facings/99", "/facings/99/sheet", "/facings/99/edit"])
def test_a_facing_that_is_not_there_is_said_to_be_so(browser, path):
    browser.open(path, status=404)
    assert "no such facing" in browser.text


def test_a_new_facing_starts_with_the_shops_tolerances(browser):
    browser.open("/settings")
    browser.send(
        "main form", position_tolerance="0.25", tip_tolerance="0.01", gap_tolerance="0.015"
    )
    browser.open("/facings/new")
    shown = [
        browser.page.select_one(f"#{name}_tolerance")["value"]
        for name in ("position", "tip", "gap")
    ]
    assert shown == ["0.25", "0.01", "0.015"]


def test_the_shops_limits_are_refused_in_words(browser):
    browser.open("/settings")
    page = browser.send(
        "main form", status=422, most_table="9", tilt_limit="much", tip_tolerance=""
    )
    words = page.select_one(".problems").get_text(" ")
    assert "between 0 and 5 mm" in words
    assert "is not a number" in words
    assert page.select_one("#most_table")["value"] == "9"


def test_the_library_orders_a_family_by_effort_and_says_how_sure_it_is(browser, write_down):
    for name, length, tip in (
        ("Wide", "34.5", "1.21"), ("Close", "34.5", "1.03"), ("Like close", "35", "1.05"),
    ):  # fmt: skip
        write_down(name=name, told_by="plain", line="", length=length, tip_opening=tip)
    browser.open("/facings")
    lines = {one.b.text: one.text for one in browser.page.select("section li")}
    assert list(lines) == ["Close", "Like close", "Wide"]
    assert "closes" not in lines["Close"]
    between = r"closes between \d+\s% easier and \d+\s% harder than on Close"
    assert re.search(between, lines["Like close"])
    assert re.search(r"closes about \d+\s% harder \(\d+ to \d+\) than on Close", lines["Wide"])
    assert "leaves out the lip" in browser.text
