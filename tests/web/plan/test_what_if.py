"""What if: choices from the last readings, what they take, how they feel; one is chosen."""

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE


@pytest.fixture
def job(take_in, read_line):
    number = take_in()
    read_line(number, CLOSE_LINE)
    return number


def choices(browser):
    return {one.h2.text: one for one in browser.page.select(".choice")}


def test_it_starts_with_choices_each_with_numbers_a_plan_and_how_it_feels(browser, job):
    browser.open(f"/jobs/{job}/what-if")
    found = choices(browser)
    assert "Opened by 0.05 mm" in found
    more, longer = found["Opened by 0.05 mm"], found["Opened by 0.05 mm, longer by 0.5 mm"]
    assert more.select_one(".told-line").text.endswith("/ 1.10")
    assert "rails alone" in more.text
    assert "harder" in more.text
    assert longer.select_one(".told-line").text.startswith("34.5 ")


def test_what_was_typed_is_answered_alone_and_becomes_the_target(browser, job):
    browser.open(f"/jobs/{job}/what-if?opened=0.08&longer=1")
    (one,) = choices(browser).values()
    assert one.h2.text == "Opened by 0.08 mm, longer by 1.0 mm"
    line = one.select_one(".told-line").text
    assert line.startswith("35.5 ")
    assert line.endswith("/ 1.13")
    browser.send(".choice form")
    assert "The target is chosen." in browser.text
    assert line in browser.text


def test_a_library_facing_that_asks_for_the_table_says_so_and_what_rails_alone_reach(
    browser, take_in, read_line
):
    browser.open("/facings/new")
    browser.send("main form", name="Shop five", told_by="readings", line=CLOSE_LINE)
    job = take_in()
    read_line(job, OPEN_LINE)
    browser.open(f"/jobs/{job}/what-if")
    same = choices(browser)["Same facing as Shop five"]
    assert "The table must lose 0.0" in same.text
    assert "The rails alone would come to" in same.text
    assert "easier" in same.text


def test_of_several_library_facings_the_one_that_feels_nearest_comes_first(browser, job):
    for name, line in (("Shop five", OPEN_LINE), ("Shop six", CLOSE_LINE)):
        browser.open("/facings/new")
        browser.send("main form", name=name, told_by="readings", line=line)
    browser.open(f"/jobs/{job}/what-if")
    named = [one for one in choices(browser) if "Same facing" in one]
    assert named == [
        "Same facing as Shop six: the shop’s nearest to how this one feels",
        "Same facing as Shop five",
    ]


@pytest.mark.parametrize(
    ("asked", "words"), [("opened=much", "not a number"), ("longer=40", "at most")]
)
def test_what_can_not_be_is_refused_in_words(browser, job, asked, words):
    browser.open(f"/jobs/{job}/what-if?{asked}", status=422)
    assert words in browser.text


def test_without_readings_it_says_what_comes_first(browser, take_in):
    browser.open(f"/jobs/{take_in()}/what-if")
    assert "First measure the piece" in browser.text
