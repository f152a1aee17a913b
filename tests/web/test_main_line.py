"""The main job as one line, without scripts: drop-off, readings, passes, card, look-up."""

import re

from tests.lines import CLOSE_LINE, OPEN_LINE, RECEIVED_LINE, RETURNED_LINE


def test_a_piece_goes_from_drop_off_to_return_card_and_is_found_again(browser, take_in, read_line):
    job = take_in(request="stuffy up high", condition=["bite marks on the beak"])
    read_line(job, RECEIVED_LINE)
    assert browser.page.select_one(".stages [aria-current=step]").text == "measured"
    browser.send(
        "form[action$=passes]", kind="tilted", abrasive="wet paper", grit="600", strokes="8"
    )
    assert browser.page.select_one(".stages [aria-current=step]").text == "on the bench"
    read_line(job, RETURNED_LINE, role="as_returned")
    browser.open(f"/jobs/{job}/papers/return_card")
    browser.send("main form")
    frame = browser.page.select_one("iframe.unseen")
    card = browser.open(frame["src"]).body
    words = re.sub(r"\s+", " ", card.get_text(" "))
    assert "1.05 → 1.13 mm More open than it came." in words
    assert "16.75 → 17.75 mm Longer than it came." in words
    assert "You asked: “stuffy up high”" in words
    assert "Worked on the plate, tilted toward the tip." in words
    cells = [[cell.text for cell in row.select("td")] for row in card.select("tbody tr")]
    assert cells[0][1:] == ["33.5", "33.5", "35.5", "35.5", "+2", "+2"]
    assert cells[1][1:] == ["21.5", "22", "23.5", "23.5", "+2", "+1.5"]
    browser.open("/look-up?q=wiesen%20kestrel")
    browser.open(browser.page.select_one("main a[href^='/pieces/']")["href"])
    assert browser.page.select_one(".first-look .notebook-line").text == OPEN_LINE


def test_an_issued_card_stays_as_printed_when_the_readings_are_corrected(
    browser, client, take_in, read_line
):
    job = take_in()
    read_line(job, CLOSE_LINE)
    read_line(job, OPEN_LINE, role="as_returned")
    browser.open(f"/jobs/{job}/papers/return_card")
    browser.send("main form")
    paper = browser.path
    kept = (f"{paper}/page-1.svgz", f"{paper}/page-2.svgz", f"{paper}/paper.pdf")
    before = [client.get(one).content for one in kept]
    browser.open(f"/jobs/{job}")
    last = browser.page.select("#readings tbody a")[-1]["href"]
    browser.open(f"{last}/correct")
    browser.send("form[data-grid]", tip="1.14", why="misread the wedge")
    browser.open("/settings")
    browser.send("main form", name="Another name")
    assert [client.get(one).content for one in kept] == before


def test_a_correction_keeps_the_earlier_readings_and_says_why(browser, take_in, read_line):
    job = take_in()
    read_line(job, CLOSE_LINE)
    first = browser.page.select_one("#readings tbody a")["href"]
    browser.open(f"{first}/correct")
    browser.send("form[data-grid]", status=422, tip="1.04")
    assert "Say why it is corrected" in browser.text
    browser.send("form[data-grid]", tip="1.04", why="misread the wedge")
    assert "replaced by a correction" in browser.text
    browser.open(first)
    assert CLOSE_LINE in browser.text
    assert "They stay here as they were taken" in browser.text
    browser.open(f"{first}/correct")
    browser.send("form[data-grid]", status=422, tip="1.05", why="again")
    assert "corrected already" in browser.text


def test_a_form_sent_twice_makes_one_record(client, browser):
    browser.open("/drop-off")
    token = browser.page.select_one("[name=token]")["value"]
    data = {
        "do": "take_in",
        "token": token,
        "customer": "new",
        "customer_name": "Twice",
        "piece": "new",
        "piece_instrument_kind": "clarinet_bb",
        "piece_marking": "X",
    }
    answers = [client.post("/drop-off", data=data, follow_redirects=False) for _ in range(2)]
    places = {answer.headers["location"] for answer in answers}
    assert len(places) == 1
    browser.open("/look-up?q=Twice")
    assert len(browser.page.select("main a[href^='/jobs/']")) == 1
