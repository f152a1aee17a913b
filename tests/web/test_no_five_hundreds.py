"""What once made the program stumble is answered with what is wrong: 4xx, and in words."""

import json
from contextlib import contextmanager

import pytest

from app.web import logins
from app.web.shop import backups

CHARSETS = ("unicode_escape", "raw_unicode_escape", "utf-7", "punycode", "undefined", "idna")
PART = b'--x\r\nContent-Disposition: form-data; name="note"\r\n\r\nwords\\ud800\r\n--x--\r\n'


@contextmanager
def as_server_answers(client):
    """Let a stumble become a 500, as a real server does, and not an exception of the test."""
    client._transport.raise_server_exceptions = False
    yield
    client._transport.raise_server_exceptions = True


@pytest.mark.parametrize("letters", [256, 5_000])
def test_a_static_file_with_a_name_too_long_is_not_there(client, letters):
    assert client.get(f"/static/{'a' * letters}").status_code == 404


@pytest.mark.parametrize("charset", CHARSETS)
@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=x", "application/json"])
def test_a_form_in_signs_nobody_uses_is_refused_in_words(client, take_in, charset, kind):
    number = take_in()
    with as_server_answers(client):
        answer = client.post(
            f"/jobs/{number}/notes",
            content=PART,
            headers={"Content-Type": f"{kind}; charset={charset}"},
        )
    assert answer.status_code == 415
    assert "signs" in answer.text


@pytest.mark.parametrize("charset", ["utf-8", "UTF-8", '"utf-8"', "us-ascii"])
def test_the_signs_that_browsers_send_are_read(client, take_in, charset):
    number = take_in()
    answer = client.post(
        f"/jobs/{number}/notes",
        content=PART,
        headers={"Content-Type": f"multipart/form-data; boundary=x; charset={charset}"},
    )
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "body",
    [
        '{"curves": ["\\ud800"]}',
        '{"\\udfff": 1}',
        '{"tip": "\\ud83d"}',
        '{"left": [{"gap_mm": "\\ud800", "position_mm": 1}]}',
    ],
)
@pytest.mark.parametrize("name", ["analysis", "comparison", "plan", "bore", "effort"])
def test_half_a_sign_in_json_is_refused_by_field(client, name, body):
    with as_server_answers(client):
        answer = client.post(
            f"/api/{name}", content=body, headers={"Content-Type": "application/json"}
        )
    assert answer.status_code == 422
    json.loads(answer.text)


def test_a_number_of_five_thousand_digits_is_no_blade(client):
    with as_server_answers(client):
        answer = client.post("/blade-sets/new", data={"name": "long", "blade": "9" * 5_000})
    assert answer.status_code == 422
    assert "blade" in answer.text


def test_a_full_disk_at_the_backups_settings_is_said_beside_the_field(browser, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups, "keep_upkeep", full)
    browser.open("/settings/backups")
    with as_server_answers(browser.client):
        browser.send("form[action='/settings/backups']", status=422)
    assert "the disk is full" in browser.text


def test_a_full_disk_at_the_passphrase_is_said_beside_the_field(browser, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(logins, "keep_passphrase", full)
    browser.open("/settings/network")
    words = "seven quiet herons at noon"
    with as_server_answers(browser.client):
        browser.send(
            "main form[action='/settings/network']",
            status=422,
            passphrase=words,
            repeated=words,
        )
    assert "the disk is full" in browser.text


def test_a_page_of_another_site_may_lead_here_but_fetch_nothing(client):
    def status(site: str, mode: str) -> int:
        headers = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode}
        return client.get("/removal-rates?left=1", headers=headers).status_code

    assert status("cross-site", "navigate") == 200
    assert status("cross-site", "no-cors") == 403
    assert status("same-site", "cors") == 403
    assert status("same-origin", "no-cors") == 200
    assert status("none", "navigate") == 200


def test_a_form_s_token_sent_again_with_other_words_is_a_conflict_and_loses_nothing(
    browser, take_in
):
    number = take_in()
    browser.open(f"/jobs/{number}")
    page = browser.page
    browser.send("form[action$=notes]", note="The first words.")
    browser.page, browser.path = page, f"/jobs/{number}"
    browser.send("form[action$=notes]", note="The first words.")  # pressed twice: once kept
    assert browser.text.count("The first words.") == 1
    browser.page, browser.path = page, f"/jobs/{number}"
    browser.send("form[action$=notes]", status=409, note="Quite other words.")
    assert "sent before" in browser.text
    assert "Quite other words." in browser.text
    browser.send("main form")
    assert "Quite other words." in browser.text
    assert "The first words." in browser.text
