"""The stock: what is taken and comes in is counted, and too few are said on the bench list."""

from tests.web.jobs.test_memos import opened


def test_a_line_warns_at_its_level_and_never_goes_below_nothing(browser):
    browser.open("/stock")
    browser.send("main form", 422, name="wet paper, 600", count="-2")
    assert "There can’t be -2 of anything." in browser.text
    browser.send("main form", count="6", warn_at="3")
    browser.send("form[action='/stock/1']", do="take", moved="2")
    assert "too few" not in browser.text
    assert "Too few" not in opened(browser, "/")
    browser.open("/stock")
    browser.send("form[action='/stock/1']", do="take", moved="1")
    assert "too few" in browser.text
    assert "Too few: wet paper, 600." in opened(browser, "/")
    browser.open("/stock")
    browser.send("form[action='/stock/1']", 422, do="take", moved="4")
    assert "There are 3: 4 can’t be taken." in browser.text
    assert browser.page.select_one("#moved")["value"] == "4"
    browser.send("form[action='/stock/1']", do="add", moved="10")
    assert browser.page.select_one("td[data-label='There are']").text.strip() == "13"


def test_a_line_is_corrected_and_two_windows_lose_nothing(browser, client):
    browser.open("/stock")
    browser.send("main form", name="blanks", count="4")
    browser.open("/stock?of=1")
    stale = {"name": "blanks of one rod", "count": "9", "version": "1"}
    browser.send("form[action='/stock/1'].boxed", name="blanks, ebonite", count="5")
    assert "blanks, ebonite" in browser.text
    answer = client.post("/stock/1", data=stale)
    assert answer.status_code == 409
    assert "blanks of one rod" in answer.text
