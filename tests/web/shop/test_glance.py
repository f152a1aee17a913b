"""The shop at a glance through its page."""


def test_the_page_counts_what_is_in_hand_and_what_was_received(browser, take_in):
    first = take_in(request="stuffy up high", wanted_by="2026-11-25")
    take_in("Second", piece_marking="x", request="rather stuffy")
    browser.open(f"/jobs/{first}/charges")
    browser.send("form[action$='/payments']", payment_amount="20.05", payment_kind="deposit")
    browser.open("/glance")
    figures = [one.text for one in browser.page.select(".figures dd")]
    assert figures == ["2 jobs", "0 jobs"]
    november = next(row for row in browser.page.select("tr") if "Nov 2026" in row.text)
    assert [cell.text for cell in november.select("td")] == ["2", "0", "–", "20.05 EUR"]
    assert "stuffy" in browser.text
    # a bar is as long as its figure: 20.05 is the most that was received
    bar = november.select("td")[3].svg
    assert bar["viewbox"].split()[2] == bar.rect["width"] == "2005"
