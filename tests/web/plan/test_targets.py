"""A job's target: from the library, as the piece was, as another piece, evened up, or typed."""

import pytest

from tests.lines import CLOSE_LINE, OPEN_LINE


@pytest.fixture
def job(take_in, read_line):
    """Take a piece in and measure it."""
    number = take_in()
    read_line(number, "33.5/32.5 21.5 11.5 5.5 / 1.05")
    return number


def target_line(browser):
    return browser.page.select(".from-to .told-line")[1].text


def test_a_typed_target_is_kept_for_this_job_only(browser, job):
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="line", line=OPEN_LINE)
    assert browser.path == f"/jobs/{job}/plan"
    assert target_line(browser) == OPEN_LINE
    browser.open("/facings")
    assert "None yet" in browser.text
    assert "for one job only (1)" in browser.text
    browser.open(f"/jobs/{job}")
    assert "Target: Job 1: 35.5 23.5 13.5 6.5 / 1.13" in browser.text


def test_a_plain_target_is_typed_in_the_glasses_numbers(browser, job):
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="plain", length="35.5", tip_opening="1.13", curve="easing")
    assert target_line(browser).startswith("35.5 ")


def test_uneven_rails_are_evened_up_from_the_readings(browser, job):
    browser.open(f"/jobs/{job}/target")
    assert CLOSE_LINE in browser.page.select_one("[value=even]").parent.text
    browser.send("main form", target="even")
    assert target_line(browser) == CLOSE_LINE
    # half a number of unevenness is within the shop's tolerance
    assert "nothing needs to be cut" in browser.text


def test_the_facing_it_left_with_last_time_can_be_aimed_at(browser, read_line, job):
    read_line(job, OPEN_LINE, role="as_returned")
    browser.open(f"/jobs/{job}")
    browser.send("form:has(#stage)", stage="returned")
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in")
    again = int(browser.path.rsplit("/", 1)[1])
    read_line(again, "34.5 22.5 12.5 6.5 / 1.09")
    browser.open(f"/jobs/{again}/target")
    first = browser.page.select("fieldset")[1].select_one("label")
    assert "As returned 25 November 2026, job 1" in first.text
    browser.send("main form", target=first.select_one("input")["value"])
    assert target_line(browser) == OPEN_LINE
    assert "As it was as returned on 25 November 2026" in browser.text


def test_another_piece_is_found_and_copied(browser, take_in, read_line, job):
    other = take_in("Balthasar Nimmerdotter", piece_marking="M7")
    read_line(other, "37.5 25.5 14.5 7.5 / 1.18")
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", do="find", find="nimmerdotter", target="even")
    assert browser.page.select_one("[value=even]").has_attr("checked")
    found = (
        browser.page.select_one("input[name=find]").find_parent("fieldset").select_one("label.pick")
    )
    assert "M7" in found.text
    browser.send("main form", target=found.select_one("input")["value"])
    assert target_line(browser) == "37.5 25.5 14.5 7.5 / 1.18"
    assert "Same as Kestrel Row “M7”" in browser.text


def test_enter_aims_at_what_is_chosen_and_finds_only_while_nothing_is(
    browser, take_in, read_line, job
):
    read_line(take_in("Balthasar Nimmerdotter", piece_marking="M7"), "37.5 25.5 14.5 7.5 / 1.18")
    browser.open(f"/jobs/{job}/target")
    assert browser.page.select("main form button")[0].get("name") is None, "what Enter presses"
    browser.send("main form", find="nimmerdotter", target="")
    assert "M7" in browser.page.select_one("main form").text
    browser.send("main form", find="nimmerdotter", target="even")
    assert browser.page.select_one("h1").text == "Plan the cut"


def test_a_library_facing_is_aimed_at_and_let_go_again(browser, job):
    browser.open("/facings/new")
    browser.send("main form", name="Shop five", told_by="readings", line=OPEN_LINE)
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="facing-1")
    browser.open(f"/jobs/{job}/target")
    assert browser.page.select_one("[value=facing-1]").has_attr("checked")
    browser.send("main form", target="none")
    browser.open(f"/jobs/{job}/plan")
    assert "First choose what to aim at" in browser.text


REFUSED = {
    "nothing chosen": ({"target": ""}, "Choose what to aim at"),
    "nonsense chosen": ({"target": "moon-1"}, "Choose what to aim at"),
    "a set that is not there": ({"target": "set-99"}, "Choose what to aim at"),
    "an empty line": ({"target": "line"}, "thin to thick"),
    "a short line": ({"target": "line", "line": "35.5 23.5 / 1.13"}, "2 numbers for 4 blades"),
    "no tip": ({"target": "plain", "length": "35.5"}, "Write the tip opening"),
    "a wild tolerance": (
        {"target": "line", "line": OPEN_LINE, "gap_tolerance": "3"},
        "at most 0.5 mm",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_can_not_be_aimed_at_is_refused_and_everything_typed_stays(browser, job, case):
    typed, words = REFUSED[case]
    browser.open(f"/jobs/{job}/target")
    page = browser.send("main form", status=422, **typed)
    assert words in browser.text
    for name, value in typed.items():
        if name != "target":
            assert page.select_one(f"#{name}")["value"] == value
    for link in page.select(".problems a"):
        assert page.select_one(f"[id='{link['href'][1:]}']") is not None


def test_a_facing_that_is_not_there_and_a_job_that_is_not_there_are_404(browser, job):
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", status=404, target="facing-99")
    browser.open("/jobs/99/target", status=404)
