"""From nothing to a telephone at the bench: the network page's three steps and its code."""

import pytest

from app.render.codes import draw_code
from app.web import logins


@pytest.fixture(autouse=True)
def on_network(monkeypatch):
    monkeypatch.setattr(logins, "own_address", lambda _: "192.0.2.7")


def test_the_page_leads_through_three_steps_and_names_this_machine(browser):
    page = browser.open("/settings/network")
    steps = [one.get_text(" ", strip=True) for one in page.select("h2")]
    assert [one[:2] for one in steps[:3]] == ["1.", "2.", "3."]
    assert "http://192.0.2.7" in page.get_text()
    assert not page.select("img.scan"), "nothing to scan before the network can reach it"
    assert page.select_one("#papers_address")["value"].startswith("http://192.0.2.7")


def test_a_machine_on_no_network_says_so(browser, monkeypatch):
    monkeypatch.setattr(logins, "own_address", lambda _: "")
    assert "on no network" in browser.open("/settings/network").get_text()


def test_the_code_holds_the_address(client):
    drawn = client.get("/settings/network/code.svg")
    assert drawn.headers["content-type"] == "image/svg+xml"
    address = "http://192.0.2.7/"
    assert drawn.content == draw_code(address)


def test_the_proposed_address_goes_onto_papers_with_one_press(browser, take_in):
    job = take_in()
    browser.open("/settings/network")
    browser.send("form[action='/settings/network/papers']")
    assert "begin with http://192.0.2.7" in browser.text
    browser.open("/settings")
    assert browser.page.select_one("#papers_address")["value"] == "http://192.0.2.7"
    tag = browser.open(f"/jobs/{job}/papers/tray_tag").select_one("section.unseen").get_text()
    assert f"http://192.0.2.7/jobs/{job}" in tag


def test_an_address_that_moved_is_said(browser):
    browser.open("/settings/network")
    browser.send("form[action='/settings/network/papers']", papers_address="http://192.0.2.99:8765")
    assert "Not the same." in browser.open("/settings/network").get_text()


@pytest.mark.parametrize("typed", ["ftp://x", "192.168.1.20", "http://a b", "http://x/jobs"])
def test_what_is_no_address_is_refused_and_stays_typed(browser, typed):
    browser.open("/settings/network")
    browser.send("form[action='/settings/network/papers']", status=422, papers_address=typed)
    assert browser.page.select_one("#papers_address")["value"] == typed
    assert "Write the address as" in browser.text
