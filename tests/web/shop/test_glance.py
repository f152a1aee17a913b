"""The shop at a glance through its page: the table and the plot beside it say the same."""

import pytest

from tests.render.hostile import faults_of_svg


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
    for picture in browser.page.select("main img"):
        assert browser.client.get(picture["src"]).headers["content-type"] == "image/svg+xml"


@pytest.mark.parametrize("name", ["stages", "turnaround", "income", "asked"])
def test_a_plot_of_an_empty_book_is_drawn_and_harmless(client, name):
    answer = client.get(f"/glance/{name}.svg")
    assert answer.status_code == 200
    assert not list(faults_of_svg(answer.content))


def test_there_is_no_other_plot(client):
    assert client.get("/glance/other.svg").status_code == 404
