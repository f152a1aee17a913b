"""Drafts: typed readings survive a closed page and a new server, and go when they are kept."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.store.tables import Draft
from app.web.app import create_app
from app.web.settings import Settings
from tests.lines import CLOSE_LINE


@pytest.fixture
def job(take_in):
    return take_in()


@pytest.fixture
def type_in(browser, client):
    """Type into an open grid as its script would tell the server."""

    def send(**typed):
        form = browser.page.select_one("form[data-grid]")
        hidden = {one["name"]: one["value"] for one in form.select("input[type=hidden]")}
        return client.post(form["data-preview-at"], data={**hidden, **typed}).json()

    return send


def drafts_in(sessions):
    with sessions.read() as session:
        return list(session.scalars(select(Draft)))


def test_what_is_typed_is_offered_back_with_its_age_and_fills_the_grid(
    browser, job, type_in, clock
):
    browser.open(f"/jobs/{job}/readings?role=as_returned")
    type_in(line="35.5 23.5 12.5", role="as_returned", note="before lunch")
    clock.at += timedelta(minutes=12)
    browser.open(f"/jobs/{job}/readings")
    assert "typed here 12 minutes ago and not kept: 35.5 23.5 12.5" in browser.text
    assert browser.page.select_one("[name=line]")["value"] == ""
    browser.open(browser.page.select_one(".draft a")["href"])
    assert browser.page.select_one("[name=line]")["value"] == "35.5 23.5 12.5"
    assert browser.page.select_one("#note")["value"] == "before lunch"
    assert "Readings as returned" in browser.page.select_one("h1").text
    assert "not kept yet" in browser.text


def test_a_draft_from_a_time_that_lies_ahead_is_offered_and_says_so(browser, job, type_in, clock):
    browser.open(f"/jobs/{job}/readings")
    type_in(line="33.5 21")
    clock.pass_days(-1)
    browser.open(f"/jobs/{job}/readings")
    assert "at a time that lies ahead (is the clock right?) and not kept: 33.5 21" in browser.text


def test_on_the_job_s_page_a_draft_s_button_stands_in_no_other_form(browser, job, type_in):
    browser.open(f"/jobs/{job}")
    type_in(line="35.5 23.5")
    page = browser.open(f"/jobs/{job}")
    discard = page.select_one("form[action='/drafts/discard']")
    assert discard.find_parent("form") is None
    assert page.select_one("form[data-grid] form") is None


def test_a_draft_outlives_the_server(browser, job, type_in, book, clock):
    browser.open(f"/jobs/{job}/readings")
    type_in(line="33.5 21.5 11.5 5.5 / 1.03")
    with TestClient(
        create_app(Settings(book=book, now=clock)), base_url="http://127.0.0.1"
    ) as later:
        page = later.get(f"/jobs/{job}/readings?draft=use").text
    assert 'value="33.5 21.5 11.5 5.5 / 1.03"' in page


def test_kept_readings_leave_no_draft_even_if_the_page_sends_a_last_one(
    browser, job, type_in, sessions
):
    browser.open(f"/jobs/{job}/readings")
    typed = browser.page
    type_in(line=CLOSE_LINE)
    assert len(drafts_in(sessions)) == 1
    browser.send("form[data-grid]", line=CLOSE_LINE)
    assert drafts_in(sessions) == []
    browser.page = typed
    type_in(line=CLOSE_LINE)
    assert drafts_in(sessions) == []


def test_a_refused_or_only_checked_grid_is_a_draft_without_scripts(browser, job, sessions):
    browser.open(f"/jobs/{job}/readings")
    browser.send("form[data-grid]", status=422, line="33.5 1e3 11.5 5.5")
    assert drafts_in(sessions)[0].fields["line"] == "33.5 1e3 11.5 5.5"
    browser.open(f"/jobs/{job}/readings")
    browser.send("form[data-grid]", do="check", line="33.5 21.5 11.5 5.5")
    assert drafts_in(sessions)[0].fields["line"] == "33.5 21.5 11.5 5.5"


@pytest.mark.parametrize("place", ["/settings", ""])
def test_refused_readings_of_a_job_s_page_come_back_whatever_the_form_says_of_its_place(
    browser, job, place
):
    browser.open(f"/jobs/{job}")
    page = browser.send("form[data-grid]", status=422, tip="0", place=place)
    assert "closed mouthpiece" in page.select_one(".problems").text
    assert page.select_one("#tip")["value"] == "0"


def test_a_draft_is_discarded_by_its_button_and_an_emptied_grid_is_none(
    browser, job, type_in, sessions
):
    browser.open(f"/jobs/{job}/readings")
    type_in(line="33.5 21")
    browser.open(f"/jobs/{job}/readings")
    browser.send(".draft form")
    assert browser.path == f"/jobs/{job}/readings"
    assert drafts_in(sessions) == []
    type_in(line="33.5")
    type_in(line=" ")
    assert drafts_in(sessions) == []


def test_looking_at_a_page_writes_no_draft_and_no_other_page_can_be_named(
    browser, client, job, type_in, sessions
):
    browser.open(f"/jobs/{job}/readings")
    browser.open(f"/jobs/{job}/readings?draft=use&line=33.5")
    assert drafts_in(sessions) == []
    assert type_in(line="33.5", place="/settings")["meanings"]
    assert drafts_in(sessions) == []
    assert client.post("/drafts/discard", data={"place": "/settings"}).status_code == 404


def test_a_correction_has_a_draft_of_its_own(browser, job, read_line, type_in):
    read_line(job, CLOSE_LINE)
    browser.open("/readings/1/correct")
    type_in(tip="1.04", why="misread")
    browser.open("/readings/1/correct?draft=use")
    assert browser.page.select_one("#why")["value"] == "misread"
    assert browser.page.select_one("#tip")["value"] == "1.04"
    browser.open(f"/jobs/{job}/readings")
    assert not browser.page.select(".draft")
