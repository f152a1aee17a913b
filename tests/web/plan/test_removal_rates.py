"""The page of removal rates: nothing claimed too early, each pair with its job."""

from datetime import timedelta

import pytest


@pytest.fixture
def pass_made(browser, take_in, read_line, clock):
    """Make a job with some passes of ten strokes, each taking 20 µm at the tip."""

    def make(count, material="hard_rubber"):
        job = take_in(piece_material=material)
        read_line(job, "33.5 21.5 11.5 5.5 / 1.03")
        for at in range(count):
            clock.at += timedelta(minutes=1)
            browser.open(f"/jobs/{job}")
            browser.send(
                ".log-pass", kind="tilted", abrasive="wet paper", grit="600",
                strokes="10",
            )  # fmt: skip
            clock.at += timedelta(minutes=1)
            read_line(job, f"33.5 21.5 11.5 5.5 / {1.05 + 0.02 * at:.2f}", role="at_the_bench")
        return job

    return make


def test_an_empty_book_says_how_to_begin(browser):
    browser.open("/removal-rates")
    assert "Nothing learnt yet" in browser.text
    assert "from 3 such passes of a kind on" in browser.text


def test_under_three_passes_it_says_that_it_does_not_know(browser, client, pass_made):
    job = pass_made(2)
    browser.open("/removal-rates?left=0.05")
    section = browser.page.select_one(".rate")
    assert "not known yet" in section.text
    assert "2 passes" in section.text
    assert "µm a stroke (" not in section.text
    assert [a["href"] for a in section.select(".evidence tbody a")] == [f"/jobs/{job}#passes"] * 2
    answer = client.get(section.select_one("img")["src"])
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/svg+xml"


def test_three_passes_give_a_rate_and_strokes_for_a_depth(browser, pass_made):
    pass_made(3)
    browser.open("/removal-rates")
    assert browser.page.select_one(".rate-figure b").text == "2 µm a stroke"
    browser.open("/removal-rates?left=0,05")
    assert browser.page.select_one(".rate-proposal").text.startswith("17 strokes: expect 0.03 mm")


def test_another_material_is_learnt_by_itself(browser, pass_made):
    pass_made(3)
    pass_made(1, material="metal")
    browser.open("/removal-rates")
    assert [one.text for one in browser.page.select(".rate > th")] == [
        "Tilted toward the tip, wet paper 600, hard rubber",
        "Tilted toward the tip, wet paper 600, metal",
    ]


@pytest.mark.parametrize(("left", "words"), [("much", "is not a number"), ("9", "at most 5 mm")])
def test_a_depth_that_is_none_is_refused_in_words(browser, left, words):
    page = browser.open(f"/removal-rates?left={left}", status=422)
    assert words in browser.text
    assert page.select_one("#left")["value"] == left
