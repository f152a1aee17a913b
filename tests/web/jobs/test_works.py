"""Works that are no cut: noted, struck out, charged, on papers, of any past day."""

import pytest


def note(browser, job, status=200, **typed):
    browser.open(f"/jobs/{job}")
    raw = {f"work_{name}": value for name, value in typed.items()}
    return browser.send("form[action$='/works']", status=status, **raw)


def words_of(browser, address):
    browser.open(address)
    return " ".join(browser.page.select_one("section.unseen").get_text(" ").split())


def test_a_work_stands_on_the_job_the_card_the_bill_and_the_record(browser, take_in):
    job = take_in(dropped_off="2026-11-20")
    note(
        browser, job, kind="tenon_cork", material="sheet cork, 2 mm", minutes="25", price="12",
        on="2026-11-21",
    )  # fmt: skip
    assert "21 November 2026" in browser.page.select_one("#works tbody").text
    note(browser, job, label="shank sleeved")
    assert "shank sleeved" in browser.page.select_one("#work_kind").text
    said = words_of(browser, f"/jobs/{job}/papers/return_card")
    assert "Renewed the tenon cork (sheet cork, 2 mm). Shank sleeved." in said
    said = words_of(browser, f"/jobs/{job}/papers/bill")
    assert "tenon cork, sheet cork, 2 mm 12.00 EUR shank sleeved –" in said
    assert "Total 12.00 EUR" in said
    said = words_of(browser, "/pieces/1/papers/piece_record")
    assert "21 Nov 2026 tenon cork, sheet cork, 2 mm" in said
    browser.open("/pieces/1")
    assert "Tenon cork, sheet cork, 2 mm, 25 min." in browser.text


def test_a_work_struck_out_counts_nowhere_and_comes_back(browser, take_in):
    job = take_in()
    note(browser, job, kind="polish", price="12")
    browser.send("form[action$='/works/1/strike']")
    assert browser.page.select_one("#works tr.struck")
    assert "Polished" not in words_of(browser, f"/jobs/{job}/papers/return_card")
    browser.open(f"/jobs/{job}/charges")
    assert browser.page.select_one(".figures dd").text == "–"
    browser.open(f"/jobs/{job}")
    browser.send("form[action$='/works/1/strike']")
    assert "Polished it." in words_of(browser, f"/jobs/{job}/papers/return_card")


def test_a_work_that_is_none_comes_back_with_all_that_was_typed(browser, take_in):
    job = take_in()
    page = note(browser, job, status=422, kind="cut_back", material="fine file")
    assert "by how many mm the tip was shortened" in browser.text
    assert page.select_one("#work_material")["value"] == "fine file"
    assert page.select_one("#work_kind option[selected]")["value"] == "cut_back"


def test_an_old_notebook_can_be_entered_job_by_job(browser, take_in):
    job = take_in(dropped_off="2019-05-03")
    browser.open(f"/jobs/{job}")
    browser.send("form[action$='/passes']", kind="flat", done_on="2019-05-06")
    browser.send("form[action$='/notes']", note="It sings.", note_on="2019-05-08")
    browser.open(f"/jobs/{job}/edit")
    browser.send("main form", agreed_work="Close it.", agreed_price="40", agreed_on="2019-05-04")
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button[action$='/stage']", stage="returned", moved_on="2019-05-09")
    days = {one["datetime"] for one in browser.page.select("#history time")}
    assert days == {"2019-05-03", "2019-05-06", "2019-05-08", "2019-05-09"}


def test_nothing_is_dated_in_the_future_or_before_the_piece_came(browser, take_in):
    job = take_in(dropped_off="2026-11-20")
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button[action$='/stage']", status=422, stage="ready",
                 moved_on="2027-01-01")  # fmt: skip
    assert "A move can't be dated in the future." in browser.text
    browser.send("form.with-button[action$='/stage']", status=422, stage="ready",
                 moved_on="2026-11-19")  # fmt: skip
    assert "before the piece came, 20 November 2026" in browser.text
    browser.open(f"/jobs/{job}/edit")
    browser.send("main form", status=422, dropped_off="2026-11-26")
    assert "A drop-off can't be dated in the future." in browser.text
    browser.send("main form", dropped_off="2026-11-18")
    assert browser.page.select_one("#history time")["datetime"] == "2026-11-18"


def test_a_shortened_tip_moves_no_curve_on_card_piece_and_comparison(browser, take_in, read_line):
    job = take_in()
    read_line(job, "34.5 22.5 13.5 7.5 / 1.12")
    note(browser, job, kind="cut_back", amount="0.5")
    read_line(job, "33.5 21.5 12.5 6.5 / 1.05", role="as_returned")
    stands = "0.5 mm came off the tip; the curve stands where it stood, as far as can be measured."
    said = words_of(browser, f"/jobs/{job}/papers/return_card")
    assert stands in said
    assert "Shortened the tip by 0.50 mm." in said
    counted = "counted from the tip as it is now."
    assert counted in said
    for page in ("/pieces/1", "/comparisons?before=1&after=2"):
        browser.open(page)
        assert counted in browser.text
        assert "shorter" not in browser.text.replace("shortened", "")


AHEAD = "2026-12-24"


@pytest.mark.parametrize(
    ("page", "form", "typed"),
    [
        ("/drop-off", "main form", {"do": "take_in", "customer": "new", "customer_name": "O W",
                                    "piece_marking": "X", "dropped_off": AHEAD}),
        ("/jobs/1", "form[action$='/passes']", {"kind": "flat", "done_on": AHEAD}),
        ("/jobs/1", "form[action$='/works']", {"work_kind": "polish", "work_on": AHEAD}),
        ("/jobs/1", "form[action$='/notes']", {"note": "It sings.", "note_on": AHEAD}),
        ("/jobs/1/edit", "main form", {"agreed_work": "Close it.", "agreed_on": AHEAD}),
        ("/jobs/1/readings", "main form", {"line": "34.5 22.5 13.5 7.5 / 1.12",
                                           "taken_on": AHEAD}),
        ("/jobs/1/charges", "form[action$='/quotes']", {"quoted_on": AHEAD}),
    ],
)  # fmt: skip
def test_no_act_is_dated_on_a_day_to_come(browser, take_in, page, form, typed):
    take_in()
    if form.endswith("/quotes']"):
        browser.open("/jobs/1/edit")
        browser.send("main form", agreed_work="Close it.", agreed_price="40")
    browser.open(page)
    browser.send(form, status=422, **typed)
    assert "can't be dated in the future." in browser.text


def test_a_stage_that_was_skipped_is_not_shown_as_done(browser, take_in):
    job = take_in()
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button[action$='/stage']", stage="ready")
    assert [one.text for one in browser.page.select(".stages .done")] == ["dropped off"]
    skipped = [one.text for one in browser.page.select(".stages .skipped")]
    assert skipped == ["measured", "agreed", "on the bench", "play-test"]
    assert "measured" not in browser.page.select_one("#history").text


def test_an_unread_blade_keeps_its_dash_on_every_page_and_paper(browser, take_in, read_line):
    job = take_in()
    read_line(job, "36 – 13 7 / 1.11")
    pages = ["/pieces/1", "/customers/1", "/readings/1", f"/jobs/{job}/target"]
    papers = [f"/jobs/{job}/papers/bench_sheet", "/pieces/1/papers/piece_record"]
    for page in (*pages, *papers):
        browser.open(page)
        words = " ".join(browser.page.text.split())
        assert "36 – 13 7" in words, page
        assert "36 13 7" not in words, page
    browser.open(f"/jobs/{job}")
    cells = [
        row.text.split() for row in browser.page.select("main table tr") if "0.010" in row.text
    ]
    assert "–" in cells[0]
    read_line(job, "36.5 24.5 13 7 / 1.12", role="as_returned")
    row = words_of(browser, f"/jobs/{job}/papers/return_card").partition("0.010 in")[2]
    assert row.split()[:2] == ["–", "–"]


def test_a_card_says_nothing_was_done_that_nobody_noted(browser, take_in, read_line):
    job = take_in()
    browser.open(f"/jobs/{job}/edit")
    browser.send("main form", agreed_work="Scrape the baffle.", agreed_price="40")
    read_line(job, "34.5 22.5 13.5 7.5 / 1.12")
    read_line(job, "34.5 22.5 13.5 7.5 / 1.18", role="as_returned")
    for kind in ("return_card", "half_card"):
        said = words_of(browser, f"/jobs/{job}/papers/{kind}")
        assert "More open than it came." in said
        assert "Scrape" not in said
        assert "What was done" not in said
        assert "Passes and works" not in said
    note(browser, job, kind="cleaning")
    assert "What was done Cleaned it." in words_of(browser, f"/jobs/{job}/papers/return_card")
