"""Any two reading sets side by side: from the piece, a measurement, a job, and by look-up."""

import re

import pytest

from tests.lines import RECEIVED_LINE, RETURNED_LINE


@pytest.fixture
def sets(browser, take_in, read_line, clock):
    """Two sets of one job, one of another piece, and the first piece back after a year."""
    job = take_in()
    read_line(job, RECEIVED_LINE, tip_rail_width="0.9")
    read_line(job, RETURNED_LINE, role="as_returned", tip_rail_width="1.1")
    browser.open(f"/jobs/{job}")
    browser.send("form.with-button", stage="returned")
    other = take_in("Ben Auerhahnfeder", piece_maker="Otter Row", piece_marking="C7")
    read_line(other, "35.5 23.5 12.5 6.5 / 1.11")
    clock.pass_days(365)
    browser.open("/drop-off?customer=1&piece=1")
    browser.send("main form", do="take_in")
    back = int(browser.path.rsplit("/", 1)[1])
    read_line(back, "35.5 23.5 13.5 6.5 / 1.09 / 0.591")
    return {"job": job, "other": other, "back": back}


def row(page, label):
    for found in page.select("table.comparison tbody tr"):
        if found.select_one("th").get_text() == label:
            return [re.sub(r"\s+", " ", cell.get_text(" ")).strip() for cell in found.select("td")]
    raise AssertionError(label)


@pytest.mark.usefixtures("sets")
def test_two_sets_of_one_piece_stand_side_by_side(browser):
    page = browser.open("/comparisons?before=1&after=2")
    assert row(page, "Tip opening") == [
        "1.05 mm", "1.13 mm", "+0.08 mm", "± 0.03 mm", "2.72", "changed",
    ]  # fmt: skip
    assert row(page, "0.010 in, right")[2] == "+0.75 mm +1.5"
    assert row(page, "Exit bore")[-1] == "no change the gauges can tell"
    assert row(page, "Tip rail width")[0] == "0.90 mm"
    assert "What job 1 did to it." in browser.text
    assert "Before: even. After: read once." in browser.text
    assert "With the same reed it closes as it did, as far as the readings" in browser.text
    assert "leaves out the lip" in browser.text
    for link in page.select("main a[href]"):
        browser.open(link["href"])


@pytest.mark.usefixtures("sets")
def test_the_pictures_are_images_with_a_tag(client):
    for name in ("profile", "difference"):
        answer = client.get(f"/comparisons/{name}.svg?before=1&after=2")
        assert answer.headers["content-type"] == "image/svg+xml"
        tag = answer.headers["etag"]
        again = client.get(answer.request.url, headers={"If-None-Match": tag})
        assert again.status_code == 304
        swapped = client.get(f"/comparisons/{name}.svg?before=2&after=1")
        assert swapped.headers["etag"] != tag


@pytest.mark.usefixtures("sets")
@pytest.mark.parametrize(
    "address",
    ["/readings/1/straight-line.svg", "/readings/1/residuals.svg", "/pieces/1/history.svg",
     "/pieces/1/overlay.svg"],
)  # fmt: skip
def test_the_other_pictures_are_drawn_and_repeat_byte_by_byte(client, address):
    first, second = client.get(address), client.get(address)
    assert first.status_code == 200
    assert first.headers["content-type"] == "image/svg+xml"
    assert first.content == second.content
    assert client.get(address.replace("/1/", "/99/")).status_code == 404


@pytest.mark.usefixtures("sets")
def test_two_sets_of_two_pieces_are_not_before_and_after(browser):
    page = browser.open("/comparisons?before=2&after=3")
    assert "Ben Auerhahnfeder" in browser.text
    assert "With the same reed" not in browser.text, "nothing differs, so nothing is said of it"
    assert row(page, "0.024 in, left")[-1] == "no difference the gauges can tell"
    assert row(page, "Exit bore")[-1] == "not read in the second"
    assert [cell.text for cell in page.select("table.comparison thead th")][1:3] == [
        "The first",
        "The second",
    ]


def test_a_piece_that_comes_back_is_compared_with_how_it_left(browser, sets):
    page = browser.open(f"/jobs/{sets['back']}")
    link = page.find("a", string="Has it moved since it last left?")
    page = browser.open(link["href"])
    assert "has it moved while it was away?" in browser.text
    assert row(page, "Tip opening")[2:] == [
        "−0.04 mm", "± 0.03 mm", "1.36", "too little to tell alone",
    ]  # fmt: skip
    # one of ten figures beyond 1 is what chance makes: nothing is said from it
    assert "Nothing has changed that the gauges can tell." in browser.text
    page = browser.open(f"/jobs/{sets['job']}")
    assert page.find("a", string="Compare as received with as returned") is not None
    assert page.find("a", string="Has it moved since it last left?") is None


@pytest.mark.usefixtures("sets")
def test_two_ticked_on_the_piece_are_put_in_order_of_time(browser, client):
    page = browser.open("/pieces/1")
    boxes = [box["value"] for box in page.select("#compare input[name=set]")]
    assert boxes == ["4", "2", "1"]
    answer = client.get("/comparisons?piece=1&set=4&set=1", follow_redirects=False)
    assert answer.headers["location"] == "/comparisons?before=1&after=4"


@pytest.mark.usefixtures("sets")
@pytest.mark.parametrize("ticked", ["", "&set=1", "&set=1&set=2&set=4"])
def test_one_or_three_ticked_come_back_as_they_were(browser, ticked):
    page = browser.open(f"/comparisons?piece=1{ticked}", status=422)
    assert "Tick two sets of readings" in page.select_one("[role=alert]").text
    kept = [f"&set={box['value']}" for box in page.select("input[name=set][checked]")]
    assert "".join(sorted(kept)) == ticked


def test_the_chooser_finds_other_sets_of_this_piece_and_of_any_piece(browser, sets):
    page = browser.open("/readings/1")
    page = browser.open(page.find("a", string="Compare with …")["href"])
    own = [link["href"] for link in page.select("main .line-link")]
    assert own == ["/comparisons?before=1&after=4", "/comparisons?before=1&after=2"]
    page = browser.open("/comparisons?of=1&find=auer%20c7")
    assert "/comparisons?before=1&after=3" in [
        link["href"] for link in page.select("main .line-link")
    ]
    by_job = browser.open(f"/comparisons?of=1&find={sets['other']}")
    assert "Ben Auerhahnfeder" in by_job.select_one("main").text
    browser.open("/comparisons?of=1&find=zebra")
    assert "No other piece in the book fits “zebra”" in browser.text


@pytest.mark.usefixtures("sets")
@pytest.mark.parametrize(
    "query",
    ["", "?before=1&after=999", "?before=one&after=2", "?before=1&after=99999999999",
     "?before=²&after=1", "?before=-1&after=1", "?set=1&set=x", "?of=<script>", "?piece=x"],
)  # fmt: skip
def test_addresses_that_name_no_readings_are_answered_in_words(browser, query):
    page = browser.open(f"/comparisons{query}", status=404)
    assert page.select_one("h1") is not None
    assert page.select_one("main script") is None


@pytest.mark.usefixtures("sets")
def test_a_search_is_only_text(browser):
    page = browser.open("/comparisons?of=1&find=%3Cscript%3Ealert(1)%3C/script%3E%25_")
    assert page.select_one("main script") is None
    assert page.select_one("#find")["value"] == "<script>alert(1)</script>%_"


@pytest.mark.usefixtures("sets")
def test_a_set_that_was_corrected_is_not_offered_but_can_still_be_compared(browser):
    browser.open("/readings/2/correct")
    browser.send("form[data-grid]", tip="1.11", why="misread")
    page = browser.open("/comparisons?of=1")
    assert "/comparisons?before=1&after=2" not in [
        link["href"] for link in page.select("main .line-link")
    ]
    browser.open("/comparisons?before=1&after=2")
    assert "(since corrected)" in browser.text


@pytest.mark.usefixtures("sets")
def test_the_same_set_twice_says_so(browser):
    browser.open("/comparisons?before=1&after=1")
    assert "These are the same readings twice." in browser.text


@pytest.mark.usefixtures("sets")
def test_a_second_piece_is_made_like_the_first_by_a_plan_of_its_open_job(browser, sets):
    browser.open("/comparisons?before=1&after=3")
    assert "Make Otter Row “C7” like Kestrel Row “N4”" in browser.text
    assert "The table must lose" in browser.text
    browser.send("#twin form")
    assert browser.path == f"/jobs/{sets['other']}/plan"
    assert "Same as Kestrel Row “N4”" in browser.text
    browser.open("/comparisons?before=3&after=1")
    assert "The rails alone can do it" in browser.page.select_one("#twin").text
    assert not browser.open("/comparisons?before=1&after=2").select("#twin")


def test_a_wider_bore_and_another_instrument_can_t_be_made_alike(browser, take_in, read_line):
    read_line(take_in(), RECEIVED_LINE)
    read_line(
        take_in("Ben Auerhahnfeder", piece_marking="N5"), "33.5 21.5/22 11.5 5.5 / 1.05 / 0.604"
    )
    browser.open("/comparisons?before=1&after=2")
    assert "wider by 0.33 mm than that of" in browser.page.select_one("#twin").text
    job = take_in("Éva Kieselkeks", piece_marking="N6", piece_instrument_kind="clarinet_eb")
    read_line(job, "33.5 21.5/22 11.5 5.5 / 1.05")
    browser.open("/comparisons?before=1&after=3")
    assert "They are for different instruments." in browser.page.select_one("#twin").text
