"""Nobody on another page or another address reaches the book."""

import pytest
from bs4 import BeautifulSoup

FORM = {"do": "take_in", "customer": "new", "customer_name": "X", "piece_marking": "X"}


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8765", "localhost", "[::1]", "[::1]:80"])
def test_this_machine_s_own_names_are_answered(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "", "10.0.0.1", "[::2]"]
)
def test_a_foreign_host_is_refused_before_anything_runs(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "null"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:9"},
        {"Origin": "https://127.0.0.1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_post_from_elsewhere_is_refused_and_changes_nothing(client, browser, headers):
    assert client.post("/drop-off", data=FORM, headers=headers).status_code == 403
    browser.open("/")
    assert "Nothing is on the bench" in browser.text


def test_every_answer_carries_the_safety_headers(client):
    for path in ("/", "/no-such-page", "/static/laybook.css"):
        headers = client.get(path).headers
        assert "unsafe" not in headers["content-security-policy"]
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in headers
    assert client.get("/").headers["cache-control"] == "no-store"


def test_an_oversized_form_is_refused_before_it_is_read(client):
    answer = client.post("/drop-off", content=b"a=" + b"x" * 1_100_000)
    assert answer.status_code == 413


def test_a_refusal_is_a_page_of_the_book_s_own_look_and_shows_nothing_of_the_book(client, take_in):
    take_in()
    large = client.post("/jobs/1/notes", content=b"note=" + b"x" * 1_100_000)
    foreign = client.post("/jobs/1/notes", data={"note": "x"}, headers={"Origin": "null"})
    for answer, words in ((large, "more than a form can hold"), (foreign, "Another page sent")):
        page = BeautifulSoup(answer.text, "html.parser")
        assert words in page.select_one("h1").text
        assert page.select_one("link[rel=stylesheet]")["href"].startswith("/static/laybook.css")
        assert page.select_one("a.button")["href"] == "/"
        assert "Ottilie" not in answer.text
    refused = client.post("/api/analysis", json={}, headers={"Origin": "null"})
    assert "outside this book" in refused.json()["detail"]


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json", "/static/../pyproject.toml"])
def test_there_is_no_documentation_page_and_no_way_out_of_static(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/jobs/0", "/jobs/x", "/pieces/9999999999999", "/readings/-1"])
def test_a_page_that_is_not_there_says_so_without_a_trace(client, path):
    answer = client.get(path)
    assert answer.status_code == 404
    assert "Not in this book" in answer.text
    assert "Traceback" not in answer.text
