"""The dial and the calliper on the readings page: chosen, kept, and corrected by their checks."""

import pytest
from sqlalchemy import text

from tests.lines import CLOSE_LINE
from tests.web.facing.test_lengths import COLUMN
from tests.web.gauges.test_gauges import cells_of, everything_measured


def add(browser, kind, label, **typed):
    browser.open(f"/gauges/new/{kind}")
    browser.send("main form", label=label, scale="length_mm", **typed)
    return browser.path


def check(browser, gauge, day, **typed):
    browser.open(gauge)
    browser.send("form[action$='/checks']", checked_on=day, unit="length_mm", **typed)


def options(browser, name):
    return [(one.text, one.has_attr("selected")) for one in browser.page.select(f"#{name} option")]


@pytest.fixture
def job(take_in) -> int:
    return take_in()


def test_without_a_dial_or_calliper_in_the_register_nothing_is_asked(browser, job):
    browser.open(f"/jobs/{job}/readings")
    assert browser.page.select_one("#dial_gauge") is None
    assert browser.page.select_one("#calliper") is None


def test_the_only_dial_is_preselected_and_of_several_the_last_used(browser, job):
    add(browser, "dial", "dial on the stand", resolution="0.01")
    browser.open(f"/jobs/{job}/readings")
    assert options(browser, "dial_gauge") == [
        ("none of the register’s", False), ("dial on the stand", True)]  # fmt: skip
    second = add(browser, "dial", "dial with the long probe", resolution="0.001")
    browser.open(f"/jobs/{job}/readings")
    number = second.rsplit("/", 1)[1]
    browser.send("form[data-grid]", line=CLOSE_LINE, dial_left=COLUMN, dial_gauge=number)
    browser.open(f"/jobs/{job}/readings?role=at_the_bench")
    assert [label for label, _ in options(browser, "dial_gauge")][1] == "dial with the long probe"
    assert ("dial with the long probe", True) in options(browser, "dial_gauge")


def test_a_check_of_the_dial_changes_the_gaps_in_use_and_nothing_stored(
    browser, sessions, clock, job
):
    gauge = add(browser, "dial", "dial on the stand", resolution="0.002")
    add(browser, "calliper", "calliper", resolution="0.02")
    browser.open(f"/jobs/{job}/readings")
    browser.send("form[data-grid]", line=CLOSE_LINE, dial_left=COLUMN,
                 dial_right=COLUMN, tip_rail_width="1.10")  # fmt: skip
    kept = browser.page.select("#readings tbody a")[-1]["href"]
    with sessions.read() as session:
        named = session.execute(
            text(
                "SELECT quantity, count(*) FROM reading WHERE gauge_id IS NOT NULL AND "
                "quantity != 'blade' GROUP BY quantity ORDER BY quantity"
            )
        ).all()
    assert [tuple(row) for row in named] == [("dial", 16), ("tip_rail_width", 1)]
    before = everything_measured(sessions)
    browser.open(kept)
    assert browser.page.find(string="As recorded and as corrected") is None
    assert "dial on the stand" in cells_of(browser, "The gauges used")
    assert "Gap by dial" in cells_of(browser, "How sure one reading is")
    check(browser, gauge, "2026-11-01", mark="0.6", actual="0.63")
    browser.open(kept)
    rows = cells_of(browser, "As recorded and as corrected")
    assert rows["Gap by dial at 6 mm, left"] == ["0.600 mm", "0.630 mm"]
    assert "corrected for what that gauge was that day" in browser.text
    assert "0.630" in browser.page.find("summary", string="By dial").find_next("table").text
    clock.pass_days(60)
    check(browser, gauge, "2027-01-05", mark="0.6", actual="0.58")
    browser.open(kept)
    rows = cells_of(browser, "As recorded and as corrected")
    assert rows["Gap by dial at 6 mm, left"] == ["0.600 mm", "0.630 mm", "0.580 mm"]
    assert everything_measured(sessions) == before
    browser.open(f"{kept}/correct")
    assert ("dial on the stand", True) in options(browser, "dial_gauge")


def test_a_dial_s_uncertainty_reaches_the_curve(browser, job):
    gauge = add(browser, "dial", "coarse dial", resolution="0.002")
    browser.open(f"/jobs/{job}/readings")
    browser.send("form[data-grid]", dial_left=COLUMN, dial_right=COLUMN)
    kept = browser.page.select("#readings tbody a")[-1]["href"]

    def widths():
        page = browser.open(kept)
        return next(row for row in page.select("table tbody tr") if row.th.text == "6").text

    fine = widths()
    browser.open(f"{gauge}/edit")
    assert browser.page.select_one("#resolution")["value"] == "0.002"
    browser.send("main form", repeatability="0.05")
    assert widths() != fine


def test_a_gauge_that_is_not_there_is_refused_and_everything_typed_stays(browser, job):
    add(browser, "dial", "dial on the stand")
    browser.open(f"/jobs/{job}/readings")
    page = browser.send("form[data-grid]", status=422, dial_left=COLUMN, dial_gauge="999")
    assert "Choose a dial from the list" in browser.text
    assert page.select_one("#dial_left").text.strip() == COLUMN
