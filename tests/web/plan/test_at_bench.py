"""The job's page at the bench: numbers to reach, what is left, a pass in two touches."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from app.store.tables import Reading
from tests.conftest import form_values
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


def test_a_reading_to_be_taken_again_is_left_out_at_the_bench_and_in_the_plan(bench, browser):
    job = bench(now="35.5 23.5/27 12 5.5 / 1.07")
    said = "the 0.010 in blade on the right rail"
    assert verdict(browser) == f"Read {said} again: nothing is said from it."
    assert togo(browser)["0.010 in"][1] == "read again"
    for page in ("plan", "what-if"):
        browser.open(f"/jobs/{job}/{page}")
        assert (
            f"Left out: {said}, which is to be read again" in browser.page.select_one("main").text
        )
    browser.open(f"/jobs/{job}/target")
    assert f"without {said}, to be read again" in browser.text


def test_a_reading_taken_again_with_the_same_number_is_told_from(bench, browser, sessions):
    job = bench(now=OPEN_LINE)
    browser.open(f"/jobs/{job}")
    browser.send("form[data-grid]", line="35.5 23.5/27 12 5.5 / 1.07")
    assert "Read it again; until then nothing is said from it." in browser.text
    browser.send("form[data-grid]", again="yes")
    assert "read again" not in togo(browser)["0.010 in"][1]
    assert "nothing is said from it" not in verdict(browser)
    with sessions.read() as session:
        again = session.scalars(select(Reading).where(Reading.confirmed)).all()
    assert [(one.rail, one.typed) for one in again] == [("right", "27")]


def note(browser, job, strokes="8", kind="tilted", grit="600"):
    browser.open(f"/jobs/{job}")
    browser.send(
        ".log-pass", kind=kind, abrasive="wet paper", grit=grit,
        strokes=strokes,
    )  # fmt: skip


def verdict(browser):
    return browser.page.select_one(".bench-verdict").text


def togo(browser):
    return {
        row.select_one("th").text: [one.text for one in row.select(".togo")]
        for row in browser.page.select(".now-table tbody tr")
    }


def column(browser, name):
    return [one.text for one in browser.page.select(f".now-table tbody .{name}")]


def passes(browser):
    return [row.select_one("td.n").text for row in browser.page.select("#passes tbody tr")]


def test_received_target_and_what_is_left_stand_in_one_table_on_the_jobs_page(browser, bench):
    bench()
    assert column(browser, "was-first") == ["33.5", "21.5", "11.5", "5.5", "1.05"]
    assert column(browser, "aim") == ["35.5", "23.5", "13.5", "6.5", "1.13"]
    assert verdict(browser) == "Still to cut."
    assert togo(browser)["Tip opening"] == ["0.08 ± 0.02"]
    left, right = togo(browser)["0.010 in"]
    assert left == right
    assert left.startswith("2 ± ")
    assert "tilted toward the tip" in browser.page.select_one(".next").text


def test_the_last_reading_stands_beside_the_first_once_there_are_two(browser, bench, read_line):
    job = bench()
    assert column(browser, "was-last") == []
    read_line(job, "34.5 22.5/22 12.5 – / 1.09", role="at_the_bench")
    assert column(browser, "was-last") == ["34.5", "22.5/22", "12.5", "–", "1.09"]
    assert togo(browser)["0.034 in"] == ["", ""]


def test_numbers_typed_into_the_table_are_kept_and_the_page_stays(browser, bench):
    job = bench()
    cells = browser.page.select(".now-table [data-cell]")
    assert len(cells) == 9
    typed = ("34.5", "34.5", "22.5", "22.5", "12.5", "12.5", "6", "6", "1.09")
    names = [one["name"] for one in cells]
    browser.send("#at-bench form[data-grid]", **dict(zip(names, typed, strict=True)))
    assert browser.path == f"/jobs/{job}"
    assert column(browser, "was-last") == ["34.5", "22.5", "12.5", "6", "1.09"]
    assert togo(browser)["Tip opening"] == ["0.04 ± 0.02"]
    assert browser.page.select_one("#strokes").has_attr("data-start")


def test_what_can_not_be_kept_comes_back_on_the_same_page_with_all_that_was_typed(browser, bench):
    job = bench()
    names = [one["name"] for one in browser.page.select(".now-table [data-cell]")]
    typed = dict(zip(names, ("34.5", "34.5", "22.5", "1e3"), strict=False))
    browser.send("#at-bench form[data-grid]", status=422, **typed)
    assert browser.page.select_one(".job-head") is not None
    assert "exponent" in browser.page.select_one(".problems").text
    assert [browser.page.select_one(f"#{name}")["value"] for name in names[:4]] == list(
        typed.values()
    )
    browser.open(f"/jobs/{job}")
    browser.open(browser.page.select_one(".draft a")["href"])
    assert browser.page.select_one(f"#{names[3]}")["value"] == "1e3"


def test_on_a_table_that_rocks_nothing_is_cut_before_it_is_flat(bench, browser, read_line):
    job = bench()
    read_line(job, CLOSE_LINE, role="at_the_bench", table_heel_left="0.04", table_middle_left="0",
              table_break_left="0.04")  # fmt: skip
    assert verdict(browser).startswith("The table is crowned by 0.04 ± 0.0")
    assert verdict(browser).endswith("Flatten it first, then read again.")
    assert not any(map(any, togo(browser).values())), (
        "no blade is within where all stops are in doubt"
    )
    browser.open(f"/jobs/{job}/plan")
    assert browser.page.select_one("#verdict-heading") is None
    assert "the tip is in doubt by ±" in browser.page.select_one(".problems").text
    browser.open(f"/jobs/{job}/what-if")
    assert "Flatten it first, then read again." in browser.page.select_one(".caution").text
    browser.open("/readings/2")
    assert "it rocks from heel to tip" in browser.page.main.text
    note(browser, job, kind="table")
    browser.open(f"/jobs/{job}")
    assert "crowned" not in verdict(browser)
    assert all(map(all, togo(browser).values()))


def test_the_history_says_what_brought_a_job_to_a_stage_that_nobody_chose(browser, bench):
    job = bench()
    note(browser, job)
    said = " ".join(one.text for one in browser.page.select(".timeline .is-stage"))
    assert "measured, because readings as received were kept" in said
    assert "on the bench, because work was noted" in said


def test_a_pass_is_logged_again_with_one_press_and_comes_back_to_the_bench(browser, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    form = browser.page.select_one(".log-pass")
    assert form.select_one("[name=kind] [selected]")["value"] == "tilted"
    filled = [form.select_one(f"[name={one}]")["value"] for one in ("abrasive", "grit", "strokes")]
    assert filled == ["wet paper", "600", "8"]
    assert form.select_one("button[accesskey='1']") is not None
    browser.send(".log-pass")
    assert passes(browser) == ["8", "8"]
    browser.send(".log-pass", strokes="3")
    assert passes(browser)[-1] == "3"


def test_the_same_press_twice_logs_one_pass(browser, client, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    form = browser.page.select_one(".log-pass")
    data = dict(form_values(form))
    answers = [
        client.post(f"/jobs/{job}/passes", data=data, follow_redirects=False) for _ in range(2)
    ]
    assert {one.headers["location"] for one in answers} == {f"/jobs/{job}?said=pass"}
    browser.open(f"/jobs/{job}")
    assert len(passes(browser)) == 2


def test_strokes_that_are_no_number_come_back_in_words(browser, bench):
    job = bench()
    note(browser, job)
    browser.open(f"/jobs/{job}")
    page = browser.send(".log-pass", status=422, strokes="a few")
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
    assert togo(browser)["Tip opening"] == ["0.04 ± 0.02"]
    read_line(job, "35.5 23.5 13.5 6.5 / 1.12", role="at_the_bench")
    assert verdict(browser) == "Stop: within tolerance."
    # Enter logs no pass any more
    assert browser.page.select_one("[data-start]").text == "Read it as returned"
    assert [one.text for one in browser.page.select("main .do")] == ["Read it as returned"]
    assert {words for cell in togo(browser).values() for words in cell} == {"within"}
    note(browser, job)
    browser.open(f"/jobs/{job}")
    assert "Next pass could overshoot" in verdict(browser)


def test_it_learns_from_other_jobs_and_warns_before_it_is_too_late(browser, bench, read_line):
    for number in range(2):
        job = bench(piece_marking=f"N{number}")
        for line in ("34 22.5 12 5.5 / 1.07", "34.5 22.5 12.5 6 / 1.09"):
            note(browser, job, strokes="10")
            read_line(job, line, role="at_the_bench")
    new = bench(piece_marking="N9")
    strokes = int(browser.page.select_one("#strokes")["value"])
    # 2 µm a stroke by four pairs, 80 µm left, 70 % of it is 28 strokes
    assert 5 < strokes <= 28
    assert "expect 0.0" in browser.page.select_one(".offer-words").text
    browser.send(".log-pass")
    assert "could overshoot" in verdict(browser)
    assert "read again" in browser.page.select_one(".offer-words").text
    read_line(new, "35.5 23.5 13.5 6.5 / 1.105", role="at_the_bench")
    assert "overshoot" in verdict(browser)


def test_the_way_back_says_the_table_first(browser, bench):
    bench(OPEN_LINE, CLOSE_LINE)
    assert verdict(browser).startswith("The table first")
    assert [one.split(" ± ")[0] for one in togo(browser)["0.024 in"]] == ["too far by 2"] * 2


def test_without_a_target_the_page_offers_to_choose_one_and_passes_still_repeat(
    browser, take_in, read_line
):
    job = take_in()
    assert column(browser, "aim") == []
    read_line(job, CLOSE_LINE)
    assert browser.page.select_one("#at-bench a[href$=target]") is not None
    note(browser, job, kind="baffle")
    browser.open(f"/jobs/{job}")
    browser.send(".log-pass")
    assert len(passes(browser)) == 2


def test_a_job_that_went_home_shows_no_bench(browser, bench):
    job = bench()
    browser.send("form:has(#stage)", stage="returned")
    browser.open(f"/jobs/{job}")
    assert browser.page.select_one("#at-bench") is None


def test_readings_that_can_not_be_planned_by_are_said_to_be_so(browser, bench):
    bench("33.5 – – –")
    assert "at least two readings" in browser.page.select_one("#at-bench").text


def test_what_was_not_read_is_told_at_the_bench_with_the_blade_that_would_tell_most(browser, bench):
    bench("33.5 20.5 – – / 1.05")
    words = browser.page.select_one(".pass-row").text
    assert "from 0 to 20.5 on the glass there is no reading to go by" in words
    assert "A blade of about 0.0" in words
    bench()
    assert "no reading to go by" not in browser.page.select_one(".pass-row").text
