"""A job's target: from the library, as the piece was, as another piece, evened up, or typed."""

import pytest


@pytest.fixture
def job(take_in, read_line):
    """Take a piece in and measure it."""
    number = take_in()
    read_line(number, "34/33 22 12 6 / 1.02")
    return number


def target_line(browser):
    return browser.page.select(".from-to .told-line")[1].text


def test_a_typed_target_is_kept_for_this_job_only(browser, job):
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="line", line="36 24 14 7 / 1.10")
    assert browser.path == f"/jobs/{job}/plan"
    assert target_line(browser) == "36 24 14 7 / 1.10"
    browser.open("/facings")
    assert "None yet" in browser.text
    assert "for one job only (1)" in browser.text
    browser.open(f"/jobs/{job}")
    assert "Target: Job 1: 36 24 14 7 / 1.10" in browser.text


def test_a_plain_target_is_typed_in_the_glasses_numbers(browser, job):
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="plain", length="36", tip_opening="1.10", curve="easing")
    assert target_line(browser).startswith("36 ")


def test_uneven_rails_are_evened_up_from_the_readings(browser, job):
    browser.open(f"/jobs/{job}/target")
    assert "34 22 12 6 / 1.02" in browser.page.select_one("[value=even]").parent.text
    browser.send("main form", target="even")
    assert target_line(browser) == "34 22 12 6 / 1.02"
    assert "Leave the left rail alone" in browser.text


def test_the_facing_it_left_with_last_time_can_be_aimed_at(browser, read_line, job):
    read_line(job, "36 24 14 7 / 1.10", role="as_returned")
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in")
    again = int(browser.path.rsplit("/", 1)[1])
    read_line(again, "35 23 13 7 / 1.06")
    browser.open(f"/jobs/{again}/target")
    first = browser.page.select("fieldset")[1].select_one("label")
    assert "As returned 25 November 2026, job 1" in first.text
    browser.send("main form", target=first.select_one("input")["value"])
    assert target_line(browser) == "36 24 14 7 / 1.10"
    assert "As it was as returned on 25 November 2026" in browser.text


def test_another_piece_is_found_and_copied(browser, take_in, read_line, job):
    other = take_in("Balthasar Nilsdotter", piece_marking="M7")
    read_line(other, "38 26 15 8 / 1.15")
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", do="find", find="nilsdotter", target="even")
    assert browser.page.select_one("[value=even]").has_attr("checked")
    found = (
        browser.page.select_one("input[name=find]").find_parent("fieldset").select_one("label.pick")
    )
    assert "M7" in found.text
    browser.send("main form", target=found.select_one("input")["value"])
    assert target_line(browser) == "38 26 15 8 / 1.15"
    assert "Same as Kestrel Row “M7”" in browser.text


def test_a_library_facing_is_aimed_at_and_let_go_again(browser, job):
    browser.open("/facings/new")
    browser.send("main form", name="Shop five", told_by="readings", line="36 24 14 7 / 1.10")
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
    "a short line": ({"target": "line", "line": "36 24 / 1.1"}, "2 numbers for 4 blades"),
    "no tip": ({"target": "plain", "length": "36"}, "Write the tip opening"),
    "a wild tolerance": (
        {"target": "line", "line": "36 24 14 7 / 1.1", "gap_tolerance": "3"},
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
