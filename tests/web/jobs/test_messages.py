"""Messages and the calendar, read back by other people's parsers.

mailto: RFC 6068, undone with the standard library's URL parser. Calendar: RFC 5545, parsed by the
icalendar package, which has no part in writing it.
"""

from datetime import date
from urllib.parse import parse_qs, urlsplit

import icalendar
import pytest

from app.core.jobs.messages import MESSAGE_KINDS, fill_in, write_mailto
from tests.lines import CLOSE_LINE

AWKWARD = "Zsófia & Söhne, „Łódź“; 50% off? #1 +x=y\\n"


@pytest.fixture
def job(take_in):
    return take_in(
        AWKWARD, customer_email="zsofia+reeds@example.org", request="stuffy\nup high",
        wanted_by="2026-12-18",
    )  # fmt: skip


def mailtos(browser):
    return {
        section["aria-labelledby"].removesuffix("-heading"): urlsplit(
            section.select_one("a[href^='mailto:']")["href"]
        )
        for section in browser.page.select("section.message")
    }


def test_each_message_is_filled_in_and_survives_the_mail_address(browser, job, read_line):
    read_line(job, CLOSE_LINE)
    browser.open(f"/jobs/{job}/messages")
    found = mailtos(browser)
    assert set(found) == set(MESSAGE_KINDS)
    for key, address in found.items():
        assert address.path == "zsofia%2Breeds@example.org"
        assert "+" not in address.query
        assert " " not in address.query
        said = parse_qs(address.query, strict_parsing=True)
        shown = browser.page.select_one(f"#{key}-text").text.removeprefix("\n")
        assert said["body"][0].replace("\r\n", "\n") == shown
        assert AWKWARD in shown
        assert f"(job {job})" in said["subject"][0]
    assert CLOSE_LINE in browser.page.select_one("#as_received-text").text


def test_the_shop_s_own_wording_is_used_and_an_unknown_field_is_refused(browser, job):
    browser.open("/settings/messages")
    browser.send("main form", status=422, ready_body="Come by, {custommer}.")
    assert "There is no field {custommer}" in browser.text
    assert browser.page.select_one("#ready_body").text.strip() == "Come by, {custommer}."
    browser.send("main form", ready_body="Come by, {customer}. {shop}")
    browser.open(f"/jobs/{job}/messages")
    assert (
        browser.page.select_one("#ready-text").text.strip() == f"Come by, {AWKWARD}. The workshop"
    )


def test_what_stands_in_a_fact_is_not_filled_in_again():
    facts = {"customer": "{shop} {0.__class__}", "shop": "secret"}
    assert fill_in("{customer}!", facts) == "{shop} {0.__class__}!"
    assert fill_in("{price}", {"price": ""}) == "–"


def test_a_line_break_cannot_add_a_header():
    address = write_mailto("a@b.example\r\nBcc: all@example.org", "one\r\ntwo", "x")
    assert "\r" not in address
    assert "\n" not in address


def test_the_calendar_has_a_whole_day_for_each_open_job_that_is_wanted(
    browser, client, job, take_in
):
    take_in("Nobody Waits", piece_marking="other")
    answer = client.get("/calendar.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n"))
    assert b"\n" not in answer.content.replace(b"\r\n", b"")
    found = icalendar.Calendar.from_ical(answer.content)
    assert found["version"] == "2.0"
    (event,) = found.walk("VEVENT")
    assert event.decoded("dtstart") == date(2026, 12, 18)
    assert event.decoded("dtend") == date(2026, 12, 19)
    assert event["summary"] == f"Job {job}: Kestrel Row “N4” for {AWKWARD}"
    assert event["description"] == "dropped off. stuffy\nup high"
    assert event["url"] == f"http://127.0.0.1/jobs/{job}"
    assert event["uid"] == f"job-{job}@127.0.0.1"
    assert not event.errors
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")
    later = icalendar.Calendar.from_ical(client.get("/calendar.ics").content)
    assert later.walk("VEVENT") == []
