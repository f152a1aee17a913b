"""A line with another number of stops chooses the set of so many blades."""

WIDE = "46 41 36 31.5 27 22.5 16 10.5 5.5 1.5 / 2.41"
SEVEN = "46 41 36 31.5 27 22.5 16 / 2.41"


def test_a_new_book_reads_saxophones_with_ten_blades_and_leaves_out_what_does_not_go_in(
    browser, take_in
):
    job = take_in(piece_instrument_kind="sax_tenor")
    browser.open(f"/jobs/{job}/readings?role=as_received")
    labels = browser.page.select_one("form[data-grid]").text
    assert "0.093 in" in labels
    browser.send("form[data-grid]", line=WIDE)
    assert browser.path == f"/jobs/{job}"


def test_the_number_of_stops_chooses_the_set(browser, take_in):
    job = take_in(piece_instrument_kind="sax_tenor")
    browser.open(f"/jobs/{job}/readings?role=as_received")
    browser.send("form[data-grid]", line=SEVEN)
    assert browser.path == f"/jobs/{job}"
    browser.open("/readings/1")
    assert "0.050 in" in browser.page.text
    assert "0.093 in" not in browser.page.text


def test_the_number_of_stops_chooses_the_set_of_what_is_aimed_at_too(browser, take_in):
    browser.open("/facings/new")
    browser.send("main form", name="Wide", told_by="readings", line=SEVEN)
    browser.open(f"{browser.path}/edit")
    assert browser.page.select_one("#line")["value"] == SEVEN
    job = take_in()
    browser.open(f"/jobs/{job}/target")
    browser.send("main form", target="line", line=SEVEN)
    assert browser.path == f"/jobs/{job}/plan"


def test_a_number_that_no_set_has_is_refused_in_words(browser, take_in):
    job = take_in()
    browser.open(f"/jobs/{job}/readings?role=as_received")
    browser.send("form[data-grid]", status=422, line="35 22 13 9 7 6 / 1.12")
    assert "6 numbers for 4 blades" in browser.text
