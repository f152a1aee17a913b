"""Other lengths and dial readings on the measurement page, without scripts."""

import re

import pytest
from bs4 import BeautifulSoup

from tests.lines import CLOSE_LINE

COLUMN = "2 0.972\n4 0.768\n6 0.600\n8 0.451\n10 0.314\n12 0.210\n14 0.122\n22 -0.001"


@pytest.fixture
def job(take_in) -> int:
    return take_in()


def grid(browser, job, role="as_received"):
    return browser.open(f"/jobs/{job}/readings?role={role}")


def keep(browser, job, **typed):
    grid(browser, job)
    browser.send("form[data-grid]", **typed)
    assert browser.path == f"/jobs/{job}", browser.text
    return browser.open(browser.page.select("#readings tbody a")[-1]["href"])


def row(page, label):
    for found in page.select("tbody tr"):
        if found.select_one("th") and found.select_one("th").get_text().startswith(label):
            return re.sub(r"\s+", " ", found.get_text(" ")).strip()
    raise AssertionError(label)


def test_other_lengths_are_kept_and_shown_with_text_value_and_uncertainty(browser, job):
    page = keep(
        browser, job, line="33.5 21.5 11.5 5.5 / 1.05 / 0.591", bore_at_1="0.5 in", bore_1="0.584",
        bore_at_2="20", bore_2="0.575", tip_rail_width="0,9", chamber_volume="6.4",
        named_name_1="shank length", named_1="1.15 in",
    )  # fmt: skip
    assert row(page, "Bore at 12.7 mm").startswith("Bore at 12.7 mm 0.584 in 14.83 mm ± 0.02 mm")
    assert row(page, "Tip rail width").startswith("Tip rail width 0,9 mm 0.90 mm ± 0.12 mm")
    assert row(page, "Chamber volume").startswith("Chamber volume 6.4 ml 6.40 ml")
    assert row(page, "Shank length").startswith("Shank length 1.15 in 29.21 mm")
    assert "The bore narrows inwards by" in browser.text
    assert "an included angle of" in browser.text


def test_the_page_comes_back_with_every_error_and_everything_typed(browser, job):
    grid(browser, job)
    typed = {
        "line": CLOSE_LINE,
        "bore_at_1": "10",
        "baffle_depth_1": "2.1",
        "tip_rail_width": "wide",
        "named_1": "12",
        "dial_left": "1 0.9\nnonsense\n3 4 5",
        "note": "kept",
    }
    page = browser.send("form[data-grid]", status=422, **typed)
    problems = {link["href"][1:] for link in page.select(".problems a")}
    assert problems == {
        "bore_1", "baffle_depth_at_1", "tip_rail_width", "named_name_1", "dial_left",
    }  # fmt: skip
    for name in problems:
        field = page.select_one(f"[id='{name}']")
        assert field is not None
        assert field["aria-invalid"] == "true"
        assert f"{name}-problem" in field["aria-describedby"]
        assert page.select_one(f"[id='{name}-problem']") is not None
    assert page.select_one("#other-lengths").has_attr("open")
    assert page.select_one("#dial-readings").has_attr("open")
    assert page.select_one("#tip_rail_width")["value"] == "wide"
    assert page.select_one("#dial_left").text.strip() == typed["dial_left"]
    assert page.select_one("#line")["value"] == typed["line"]
    assert page.select_one("#note")["value"] == "kept"


def test_check_first_says_the_same_as_the_preview_while_typing(browser, client, job):
    grid(browser, job)
    typed = {"line": CLOSE_LINE, "bore_at_1": "5", "bore_1": "0.584", "bore_at_2": "20",
             "bore_2": "0.575", "dial_left": COLUMN}  # fmt: skip
    page = browser.send("form[data-grid]", do="check", **typed)
    checked = page.select_one("[data-preview]").decode_contents().strip()
    reply = client.post(f"/readings/preview?piece=1&job={job}", data=typed).json()
    assert str(BeautifulSoup(reply["preview"], "html.parser")).strip() == checked
    assert "The bore narrows inwards" in checked
    assert "dial’s readings on the left rail lie within" in checked
    assert reply["meanings"]["bore_1"] == "14.83 mm"
    picture = page.select_one("[data-preview] img")["src"]
    assert "dial_left=2%3A0.972" in picture
    assert client.get(picture).headers["content-type"] == "image/svg+xml"
    assert page.select_one("#bore_1")["value"] == "0.584"


def test_a_preview_keeps_up_with_half_typed_rows(client, take_in):
    take_in()
    typed = {
        "line": CLOSE_LINE,
        "bore_at_1": "5",
        "dial_left": "2 0.97\n4",
        "named_1": "3",
    }
    reply = client.post("/readings/preview?piece=1", data=typed).json()
    assert CLOSE_LINE in reply["preview"]
    assert "dial" in reply["preview"]


def test_a_unit_slip_is_asked_about_and_kept_after_a_yes(browser, job):
    grid(browser, job)
    page = browser.send("form[data-grid]", line=CLOSE_LINE, tip_rail_width="0.04")
    assert "usual is 0.2 to 3 mm" in page.select_one(".asks").text
    assert page.select_one("#other-lengths").has_attr("open")
    browser.send("form[data-grid]")
    assert browser.path == f"/jobs/{job}"


def test_a_correction_carries_the_other_lengths_and_the_dial_over(browser, job):
    first = {
        "line": CLOSE_LINE, "bore_at_1": "0.5 in", "bore_1": "0.584",
        "side_rail_width_right": "1½", "named_name_1": "shank length", "named_1": "1.15 in",
        "dial_right": COLUMN,
    }  # fmt: skip
    keep(browser, job, **first)
    first_set = browser.path
    page = browser.open(f"{first_set}/correct")
    for name in ("bore_at_1", "bore_1", "side_rail_width_right", "named_name_1", "named_1"):
        assert page.select_one(f"#{name}")["value"] == first[name]
    assert page.select_one("#dial_right").text.split() == COLUMN.split()
    browser.send("form[data-grid]", bore_1="0.585", why="misread")
    corrected = browser.open(browser.page.select("#readings tbody a")[-1]["href"])
    assert "0.585 in" in row(corrected, "Bore at 12.7 mm")
    assert "1½" in row(corrected, "Side rail width, right")
    assert len(corrected.select_one("table:has(th:-soup-contains('mm from the tip'))")
               .select("tbody tr")) == 8  # fmt: skip
    before = browser.open(first_set)
    assert "0.584 in" in row(before, "Bore at 12.7 mm")


def test_the_history_of_a_length_leads_to_the_other_sets(browser, job):
    keep(browser, job, line=CLOSE_LINE, tip_rail_width="0.9")
    page = keep(browser, job, line=CLOSE_LINE, tip_rail_width="1.1")
    said = row(page, "Tip rail width")
    assert "0.90 mm as received, 25 November 2026" in said
    assert page.select_one("td.history a")["href"] == "/readings/1"


def test_dial_readings_stand_in_a_table_with_their_residuals(browser, job):
    page = keep(browser, job, line=CLOSE_LINE, dial_left=COLUMN, dial_right=COLUMN)
    cells = [
        [cell.get_text(strip=True) for cell in found.select("th, td")]
        for found in page.select("tr")
        if found.select_one("th.n[scope=row]")
    ]
    assert cells[0][0] == "2"
    assert cells[0][1] == "0.972"
    assert cells[0][2].endswith("µm")
    assert cells[-1][6] == "not weighed"
    assert cells[0][5] == "0 µm ± 14 µm"


def test_other_lengths_alone_and_a_dial_alone_are_readings_too(browser, job):
    keep(browser, job, tip_rail_width="1.1")
    assert "Tip rail width" in browser.text
    assert "Curves tried" not in browser.text
    keep(browser, job, dial_left=COLUMN)
    assert "dial at 8 places" in browser.text
    page = browser.open(f"/jobs/{job}")
    lines = [cell.get_text(strip=True) for cell in page.select("#readings td.figure")]
    assert lines == ["other lengths", "dial at 8 places"]
    browser.open("/pieces/1")


# Files: what a browser sends as multipart


def send_file(client, job, content: bytes, name="column.txt", **typed):
    page = client.get(f"/jobs/{job}/readings")
    token = re.search(r'name="token" value="([^"]+)"', page.text)
    assert token is not None
    data = {"token": token[1], "role": "as_received", "line": CLOSE_LINE, **typed}
    return client.post(
        f"/jobs/{job}/readings",
        data=data,
        files={"dial_left_file": (name, content, "text/plain")},
        follow_redirects=False,
    )


@pytest.mark.parametrize(
    "content",
    [
        COLUMN.encode(),
        b"\xef\xbb\xbf" + COLUMN.encode(),
        COLUMN.encode("utf-16"),
        ("position;gap\r\n" + COLUMN.replace(" ", ";").replace("\n", "\r\n")).encode(),
    ],
)
def test_a_file_of_two_columns_becomes_dial_readings(client, browser, job, content):
    assert send_file(client, job, content).status_code == 303
    browser.open("/readings/1/correct")
    assert browser.page.select_one("#dial_left").text.split() == COLUMN.split()


def test_a_checked_file_stands_in_the_column_and_need_not_be_chosen_again(client, job):
    answer = send_file(client, job, COLUMN.encode(), do="check")
    assert answer.status_code == 200
    assert "10 0.314" in answer.text
    assert "dial’s readings on the left rail" in answer.text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00", "not a small file of text"),
        (b"\xff\xff\xfe\x00", "not a small file of text"),
        (b"1 0.9\n" * 5000, "not a small file of text"),
        (b"1 0.9\x00\n", "not a small file of text"),
        (b"<svg onload=alert(1)> 3", "has 3 parts"),
        (b"=cmd|calc 1", "is not a number"),
    ],
)
def test_a_file_that_is_no_column_is_refused_in_words_and_the_page_stays(
    client, job, content, words
):
    answer = send_file(client, job, content, tip_rail_width="1.1")
    assert answer.status_code == 422
    assert words in answer.text
    assert f'value="{CLOSE_LINE}"' in answer.text
    assert 'value="1.1"' in answer.text
    assert "<svg onload" not in answer.text


def test_a_file_beside_a_typed_column_loses_neither_silently(client, job):
    answer = send_file(client, job, b"1 0.9", dial_left="1 0.8")
    assert answer.status_code == 422
    assert "choose the file again" in answer.text
    assert "1 0.8" in answer.text


def test_more_files_than_the_page_has_and_files_on_other_pages_are_refused(client, job):
    three = {f"f{n}": ("x.txt", b"1 1", "text/plain") for n in range(3)}
    assert client.post(f"/jobs/{job}/readings", data={}, files=three).status_code == 400
    one = {"file": ("x.txt", b"1 1", "text/plain")}
    assert client.post(f"/jobs/{job}/notes", data={"note": "x"}, files=one).status_code == 400


def test_markup_in_a_name_or_a_column_is_only_text(browser, job):
    page = keep(
        browser, job, named_name_1="<b>shank</b>", named_1="29", line=CLOSE_LINE
    )  # fmt: skip
    assert "<b>shank</b>" in page.select_one("main").get_text()
    assert page.select_one("main td b, main th b") is None


def test_the_service_takes_dial_readings_and_names_the_field_that_is_wrong(client):
    dial = [{"position_mm": s, "gap_mm": g} for s, g in ((4, 0.768), (8, 0.451), (12, 0.21))]
    answer = client.post("/api/analysis", json={"dial_left": dial})
    assert answer.status_code == 200
    assert answer.json()["rails"]["left"]["chosen"] == "arc"
    bad = client.post("/api/analysis", json={"dial_left": [{"position_mm": -1, "gap_mm": 0.1}]})
    assert bad.status_code == 422
    assert bad.json()["detail"][0]["field"] == "dial_left.0.position_mm"
