"""The job's page at the bench: numbers to reach, what is left, a pass in two touches."""

from datetime import timedelta

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE


@pytest.fixture(autouse=True)
def time_goes_on(clock, browser):
    """Let a minute pass with every page, so that readings and passes have their order."""
    opened = browser.open

    def open_later(*args, **named):
        clock.at += timedelta(minutes=1)
        return opened(*args, **named)

    browser.open = open_later


@pytest.fixture
def bench(browser, take_in, read_line):
    """Take a piece in, measure it and aim at a target; gives the job with its page open."""

    def start(now=CLOSE_LINE, target=OPEN_LINE, **typed):
        job = take_in(**typed)
        read_line(job, now)
        browser.open(f"/jobs/{job}/target")
        browser.send("main form", target="line", line=target)
        browser.open(f"/jobs/{job}")
        return job

    return start


def note(browser, job, strokes="8", kind="tilted", grit="600"):
    browser.open(f"/jobs/{job}")
    browser.send(
        "form[aria-label='Note a pass']", kind=kind, abrasive="wet paper", grit=grit,
        strokes=strokes,
    )  # fmt: skip


def verdict(browser):
    return browser.page.select_one(".bench-verdict").text


def togo(browser):
    return {
        row.select_one("th").text.strip(" ✓"): [one.text for one in row.select(".togo")]
        for row in browser.page.select("#at-bench tbody tr")
    }


def test_target_last_readings_and_what_is_left_stand_on_the_jobs_page(browser, bench):
    bench()
    panel = browser.page.select_one("#at-bench")
    lines = [one.text for one in panel.select(".told-line")]
    assert lines == [OPEN_LINE, CLOSE_LINE]
    assert verdict(browser) == "Still to cut."
    assert togo(browser)["Tip opening"][0].startswith("80 ± ")
    left, right = togo(browser)["0.010 in"]
    assert left == right
    assert left.startswith("56 ± ")
    assert "Both rails together" in panel.text


def test_a_pass_is_logged_again_with_one_press_and_comes_back_to_the_bench(browser, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    form = browser.page.select_one(".offers form")
    assert "tilted toward the tip, wet paper 600" in form.text
    assert form.select_one("[name=strokes]")["value"] == "8"
    assert form.select_one("button[accesskey='1']") is not None
    browser.send(".offers form")
    passes = browser.page.select("#passes tbody tr")
    assert len(passes) == 2
    assert [row.select_one("td.n").text for row in passes] == ["8", "8"]
    browser.send(".offers form", strokes="3")
    assert browser.page.select("#passes tbody tr td.n")[-1].text == "3"


def test_the_same_press_twice_logs_one_pass(browser, client, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    form = browser.page.select_one(".offers form")
    data = {one["name"]: one["value"] for one in form.select("input[name]")}
    answers = [
        client.post(f"/jobs/{job}/passes", data=data, follow_redirects=False) for _ in range(2)
    ]
    assert {one.headers["location"] for one in answers} == {f"/jobs/{job}?said=pass#at-bench"}
    browser.open(f"/jobs/{job}")
    assert len(browser.page.select("#passes tbody tr")) == 2


def test_strokes_that_are_no_number_come_back_in_words(browser, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    page = browser.send(".offers form", status=422, strokes="a few")
    assert "“a few” is not a whole number" in browser.text
    assert page.select_one("#strokes")["value"] == "a few"
    assert page.select_one("#kind option[selected]")["value"] == "tilted"


def test_new_readings_update_what_is_left_until_it_says_stop(browser, bench, read_line):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    assert "since the last readings" in verdict(browser)
    read_line(job, "34.5 22.5 12.5 6 / 1.09", role="at_the_bench")
    assert verdict(browser) == "Still to cut."
    assert togo(browser)["Tip opening"][0].startswith("40 ± ")
    read_line(job, "35.5 23.5 13.5 6.5 / 1.12", role="at_the_bench")
    assert verdict(browser) == "Stop: within tolerance."
    assert {words for cell in togo(browser).values() for words in cell} == {"within"}
    note(browser, job)
    browser.open(f"/jobs/{job}")
    assert "Next pass could overshoot" in verdict(browser)


def test_it_learns_from_other_jobs_and_warns_before_it_is_too_late(browser, bench, read_line):
    for _ in range(2):
        job = bench()
        for line in ("34 22.5 12 5.5 / 1.07", "34.5 22.5 12.5 6 / 1.09"):
            note(browser, job, strokes="10")
            read_line(job, line, role="at_the_bench")
    new = bench()
    offer = browser.page.select_one(".offers li")
    strokes = int(offer.select_one("[name=strokes]")["value"])
    # 2 µm a stroke by four pairs, 80 µm left, 70 % of it is 28 strokes
    assert 5 < strokes <= 28
    assert "expect 0.0" in offer.select_one(".offer-words").text
    browser.send(".offers form")
    assert "could overshoot" in verdict(browser)
    assert "read again" in browser.page.select_one(".offer-words").text
    read_line(new, "35.5 23.5 13.5 6.5 / 1.105", role="at_the_bench")
    assert "overshoot" in verdict(browser)


def test_the_way_back_says_the_table_first(browser, bench):
    bench(OPEN_LINE, CLOSE_LINE)
    assert verdict(browser).startswith("The table first")
    assert togo(browser)["0.024 in"] == ["80 µm too open"] * 2


def test_without_a_target_the_page_offers_to_choose_one_and_passes_still_repeat(
    browser, take_in, read_line
):
    job = take_in()
    assert browser.page.select_one("#at-bench") is None
    read_line(job, CLOSE_LINE)
    assert browser.page.select_one("#at-bench a[href$=target]") is not None
    note(browser, job, kind="baffle")
    browser.open(f"/jobs/{job}")
    browser.send(".offers form")
    assert len(browser.page.select("#passes tbody tr")) == 2


def test_a_job_that_went_home_shows_no_bench(browser, bench):
    job = bench()
    browser.send("form:has(#stage)", stage="returned")
    browser.open(f"/jobs/{job}")
    assert browser.page.select_one("#at-bench") is None


def test_readings_that_can_not_be_planned_by_are_said_to_be_so(browser, bench):
    bench("33.5 – – –")
    assert "at least two readings" in browser.page.select_one("#at-bench").text
