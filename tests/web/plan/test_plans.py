"""The plan's page: rails alone or table first, numbers to check, limits, the bench sheet."""

import re

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE


@pytest.fixture
def plan(browser, take_in, read_line):
    """Plan from one notebook line to another; gives the job's number with the plan open."""

    def make(now, target, **typed):
        job = take_in()
        read_line(job, now)
        browser.open(f"/jobs/{job}/target")
        browser.send("main form", target="line", line=target, **typed)
        return job

    return make


def step_lines(browser):
    return [one.text for one in browser.page.select(".steps .told-line")]


def figures(browser):
    return {
        one.select_one("dt").text: one.select_one("dd").find(string=True).strip()
        for one in browser.page.select(".figures div")
    }


def test_the_way_up_is_rails_alone(browser, plan):
    plan(CLOSE_LINE, OPEN_LINE)
    assert browser.page.select_one(".verdict h2").text == "Rails alone"
    assert figures(browser)["Off the table"] == "nothing"
    assert len(set(step_lines(browser))) == 1
    numbers, tip = step_lines(browser)[0].split(" / ")
    # as few bends as the tolerance allows: within a number and 0.02 mm of the target
    aims = (35.5, 23.5, 13.5, 6.5)
    assert all(abs(float(n) - aim) <= 1 for n, aim in zip(numbers.split(), aims, strict=True))
    assert 1.11 <= float(tip) <= 1.13
    assert "Both rails together" in browser.text


def test_typing_the_numbers_of_the_plan_comes_back_as_planned(browser, plan, read_line):
    job = plan(CLOSE_LINE, OPEN_LINE)
    line = step_lines(browser)[0]
    read_line(job, line, role="at_the_bench")
    browser.open(f"/jobs/{job}/plan")
    assert browser.page.select_one(".verdict .said").text.startswith("As planned")
    assert "nothing needs to be cut" in browser.page.select_one(".verdict h2").text


def test_the_way_back_says_what_the_table_loses_and_what_to_read_after_it(browser, plan):
    plan(OPEN_LINE, CLOSE_LINE)
    assert browser.page.select_one(".verdict h2").text == "Table first, then the rails"
    assert re.search(r"at least 0\.0\d mm, at most 0\.\d+ mm", browser.text)
    assert figures(browser)["The tolerance saves"] == "0.02 mm"
    first = [float(one) for one in step_lines(browser)[0].split(" / ")[0].split()]
    assert all(after < now for after, now in zip(first, (35.5, 23.5, 13.5, 6.5), strict=True))
    exact = plan(OPEN_LINE, CLOSE_LINE, gap_tolerance="", position_tolerance="")
    assert "The tolerance saves" not in figures(browser)
    assert step_lines(browser)[1] == CLOSE_LINE
    browser.open(f"/jobs/{exact}/papers/bench_sheet")
    words = browser.page.select_one("section.unseen").get_text(" ")
    assert "Table first." in words
    assert "After this step it should read 33.5 21.5 11.5 5.5 / 1.05." in " ".join(words.split())


def test_each_rail_has_its_own_picture_where_the_rails_differ(browser, client, plan):
    job = plan("33.5/32.5 21.5/20.5 11.5 5.5 / 1.05", OPEN_LINE)
    addresses = [one["src"] for one in browser.page.select("main img") if "/feel" not in one["src"]]
    assert addresses == [f"/jobs/{job}/plan/left.svg", f"/jobs/{job}/plan/right.svg"]
    drawn = [client.get(address) for address in addresses]
    assert all(answer.status_code == 200 for answer in drawn)
    assert all(answer.text.rstrip().endswith("</svg>") for answer in drawn)
    assert drawn[0].content != drawn[1].content
    assert client.get(f"/jobs/{job}/plan/middle.svg").status_code == 404


def test_what_the_plan_must_know_of_the_piece_leads_to_cautions_and_lengths(browser, plan):
    plan(OPEN_LINE, CLOSE_LINE)
    browser.send("form[action$=piece]", window_end="16", table_allowance="0.05", beak_slope="20")
    cautions = browser.page.select_one(".caution ul").get_text(" ")
    assert "it would leak there" in cautions
    assert "The shank allows the table to lose 0.05 mm" in cautions
    assert browser.page.select_one("#window_end")["value"] == "16"
    browser.send("form[action$=piece]", status=422, window_end="sixteen")
    assert browser.page.select_one("#window_end")["value"] == "sixteen"
    assert "is not a number" in browser.text
    assert browser.page.select_one("details[open] #window_end") is not None


def test_the_shops_limits_lead_to_cautions(browser, plan):
    browser.open("/settings")
    browser.send("main form", most_table="0.03", most_rail="0.02")
    plan(OPEN_LINE, CLOSE_LINE)
    cautions = browser.page.select_one(".caution ul").get_text(" ")
    assert "more than the shop's limit of 0.03 mm" in cautions
    assert "more than the shop's limit of 0.02 mm" in cautions


def test_a_tilt_the_shop_allows_takes_less_off_the_table(browser, plan):
    plan(OPEN_LINE, "33.5 21.5 11.5 5.5 / 1.09", gap_tolerance="")
    flat = figures(browser)["Off the table"]
    browser.open("/settings")
    browser.send("main form", tilt_limit="0.05")
    plan(OPEN_LINE, "33.5 21.5 11.5 5.5 / 1.09", gap_tolerance="")
    assert "at its end" in browser.text
    assert float(figures(browser)["Off the table"].split()[0]) <= float(flat.split()[0])


def test_a_piece_that_is_there_already_is_left_alone(browser, plan):
    plan(OPEN_LINE, OPEN_LINE)
    assert "nothing needs to be cut" in browser.page.select_one(".verdict h2").text
    assert "Nothing to cut" in browser.text


def test_without_readings_or_target_the_page_says_what_comes_first(browser, take_in, client):
    job = take_in()
    browser.open(f"/jobs/{job}/plan")
    assert "First choose what to aim at" in browser.text
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="line", line=OPEN_LINE)
    assert "First measure the piece" in browser.text
    browser.open(f"/jobs/{job}/papers/bench_sheet")
    assert "Plan" not in browser.page.select_one("section.unseen").get_text(" ")
    assert client.get(f"/jobs/{job}/plan/both.svg").status_code == 404


def test_readings_too_few_to_plan_by_are_said_to_be_so(browser, take_in, read_line):
    job = take_in()
    read_line(job, "33.5 – – –")
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="line", line=OPEN_LINE)
    assert "No plan can be made from these readings" in browser.text
    assert "at least two readings" in browser.text


def test_the_plan_answers_more_open_and_no_harder(browser, client, plan):
    job = plan("33.5 21 11.5 5.5 / 1.07", "36 23.5 13.5 7 / 1.15")
    feel = browser.page.select_one("#feel")
    rows = [one.text for one in feel.select("tbody tr")]
    (aim,) = [row for row in rows if row.startswith("tip 1.15 mm, as the target")]
    assert "on the glass" in aim
    assert any(row.startswith("length 18.0 mm") and "tip 1." in row for row in rows)
    assert "leaves out the lip" in feel.text
    answer = client.get(f"/jobs/{job}/plan/feel.svg")
    assert answer.headers["content-type"] == "image/svg+xml"
    again = client.get(answer.request.url, headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 304
