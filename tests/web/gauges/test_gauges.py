"""Gauges through the pages: worn blades, sets by family, studies, retiring; nothing is lost."""

import re
from datetime import UTC, datetime

import pytest
from sqlalchemy import text

from tests.lines import CLOSE_LINE

THIN, THICK = "0.0015 in", "0.034 in"
READ = CLOSE_LINE


def link_to(browser, label):
    """Find a gauge's address in the register."""
    browser.open("/gauges")
    found = [a["href"] for a in browser.page.select("main a[href^='/gauges/']") if a.text == label]
    assert found, f"no gauge {label}"
    return found[0]


def enter_check(browser, label, day, actual, **typed):
    address = link_to(browser, label)
    browser.open(address)
    browser.send(
        "form[action$='/checks']", checked_on=day, actual=actual, **{"unit": "length_mm"} | typed
    )
    return address


def everything_measured(sessions):
    """Dump all that is kept of readings, byte for byte."""
    with sessions.read() as session:
        return [
            session.execute(text(f"SELECT * FROM {table} ORDER BY id")).all()  # noqa: S608
            for table in ("reading_set", "reading", "event", "slip")
        ]


def cells_of(browser, heading):
    """Give a table's rows by their heading's words, under an h3."""
    table = next(one for one in browser.page.select("h3") if one.text == heading).find_next("table")
    return {
        row.th.text.strip(): [cell.text.strip() for cell in row.select("td")]
        for row in table.select("tbody tr")
    }


@pytest.fixture
def measured(browser, take_in, read_line):
    """Take a piece in and read it; gives the reading set's address."""
    job = take_in()
    read_line(job, READ)
    return browser.page.select_one("#readings tbody a")["href"]


def test_a_worn_blade_shows_both_values_and_nothing_stored_changes(
    browser, clock, sessions, measured
):
    before = everything_measured(sessions)
    clock.pass_days(200)
    enter_check(browser, THIN, "2027-06-01", "0.0340", method="micrometer")
    assert everything_measured(sessions) == before
    browser.open(measured)
    assert browser.page.select_one(".first-look .notebook-line").text == READ
    rows = cells_of(browser, "As recorded and as corrected")
    recorded, in_force, already = rows[THIN]
    assert (recorded, in_force) == ("33.5", "33.5")
    assert float(already) == pytest.approx(33.1, abs=0.15)
    assert rows["Facing length"][:2] == ["16.75 mm", "16.75 mm"]
    assert float(rows["Facing length"][2].split()[0]) == pytest.approx(float(already) / 2, abs=0.01)
    since = cells_of(browser, "The gauges used")[THIN][1]
    assert "0.0340 mm on 1 June 2027" in since
    assert "it may have been so already" in since
    assert "A later check shows what a gauge had become by then, not when" in browser.text


@pytest.mark.usefixtures("measured")
def test_the_lists_show_both_values_too(browser, clock):
    clock.pass_days(200)
    enter_check(browser, THIN, "2027-06-01", "0.0340")
    for page in ("/jobs/1", "/pieces/1"):
        browser.open(page)
        assert READ in browser.text
        assert re.search(r"already as (a later check found|checked later)", browser.text), page


def test_readings_use_the_size_in_force_on_their_day(browser, take_in, read_line):
    enter_check(browser, THIN, "2025-03-01", "0.0380")
    enter_check(browser, THIN, "2026-03-01", "0.0340")
    job = take_in()
    for day, role in (("2026-01-10", "as_received"), ("2026-11-20", "as_returned")):
        read_line(job, READ, role=role, taken_on=day)
    old, new = (a["href"] for a in browser.page.select("#readings tbody a"))
    browser.open(old)
    assert cells_of(browser, "The gauges used")[THIN] == [
        "0.0380 mm by the check of 1 March 2025",
        "0.0340 mm on 1 March 2026: 0.0040 mm thinner. It changed at some time between the checks "
        "of 1 March 2025 and 1 March 2026; these readings lie between them.",
    ]
    assert browser.page.select_one(".figures dd").text.startswith("16.75 mm")
    browser.open(new)
    assert cells_of(browser, "The gauges used")[THIN][0] == "0.0340 mm by the check of 1 March 2026"
    recorded, in_force = cells_of(browser, "As recorded and as corrected")[THIN]
    assert recorded == "33.5"
    assert float(in_force) == pytest.approx(33.1, abs=0.15)
    figure = browser.page.select_one(".figures dd").text
    assert float(figure.split()[0]) == pytest.approx(float(in_force) / 2, abs=0.01)
    assert "16.75 as recorded" in figure


def test_a_struck_check_counts_for_nothing_and_can_be_brought_back(browser, take_in, read_line):
    address = enter_check(browser, THIN, "2026-03-01", "0.0340")
    job = take_in()
    read_line(job, READ)
    reading = browser.page.select_one("#readings tbody a")["href"]
    browser.open(address)
    browser.send("form[action$='/strike']", do="strike")
    assert browser.page.select_one("tr.struck") is not None
    browser.open(reading)
    assert "As recorded and as corrected" not in browser.text
    browser.open(address)
    browser.send("form[action$='/strike']", do="bring_back")
    browser.open(reading)
    assert "As recorded and as corrected" in browser.text


def test_a_glass_with_a_ground_end_moves_every_reading(browser, take_in, read_line):
    enter_check(browser, "Glass, half-millimetre numbers", "2026-01-05", "17.7", mark="36")
    job = take_in()
    read_line(job, READ)
    browser.open(browser.page.select_one("#readings tbody a")["href"])
    rows = cells_of(browser, "As recorded and as corrected")
    assert rows[THIN][:2] == ["33.5", "32.9"]
    assert rows[THICK][:2] == ["5.5", "4.9"]


def test_the_return_card_is_worked_out_from_the_true_sizes_and_says_so(browser, take_in, read_line):
    job = take_in()
    read_line(job, READ, taken_on="2026-01-10")
    enter_check(browser, THIN, "2026-03-01", "0.0340")
    read_line(job, READ, role="as_returned")
    browser.open(f"/jobs/{job}/papers/return_card")
    card = browser.page.select_one("section.unseen")
    words = " ".join(card.get_text(" ").split())
    front, back = words.split("For the maker")
    assert f"truly measured that day; as read it was {READ} after." in back
    cells = [cell.text for cell in card.select_one("tbody tr").select("td")]
    assert cells[1:3] == ["33.5", "33.5"]
    assert float(cells[3]) == pytest.approx(33.1, abs=0.15)
    # the player's half shows what was read
    assert "16.75 mm" in front


def test_a_check_that_cannot_be_comes_back_with_everything_as_typed(browser):
    address = link_to(browser, THIN)
    browser.open(address)
    browser.send(
        "form[action$='/checks']",
        status=422,
        actual="0.0014",
        unit="length_mm",
        method="micrometer",
        checked_on="2026-03-01",
    )
    assert browser.page.title.text.startswith("Error: ")
    assert "Is the unit right?" in browser.page.select_one("#actual-problem").text
    assert browser.page.select_one("#actual")["value"] == "0.0014"
    assert browser.page.select_one("#method")["value"] == "micrometer"
    assert browser.page.select_one("#checked_on")["value"] == "2026-03-01"


def test_a_check_sent_twice_is_one_check(client, browser):
    address = link_to(browser, THIN)
    browser.open(address)
    token = browser.page.select_one("form[action$='/checks'] [name=token]")["value"]
    data = {"token": token, "actual": "0.0370", "unit": "length_mm", "checked_on": ""}
    for _ in range(2):
        client.post(f"{address}/checks", data=data)
    browser.open(address)
    assert len(browser.page.select("#checks tbody tr")) == 1


def test_the_checks_of_a_gauge_are_drawn_as_a_run_chart(browser, client):
    address = enter_check(browser, THIN, "2024-03-01", "0.0381")
    assert browser.page.select_one("img.run") is None
    assert client.get(f"{address}/checks.svg").status_code == 404
    enter_check(browser, THIN, "2025-03-01", "0.0379")
    enter_check(browser, THIN, "2026-03-01", "0.0341")
    shown = client.get(browser.page.select_one("img.run")["src"])
    assert shown.headers["content-type"].startswith("image/svg+xml")
    again = client.get(f"{address}/checks.svg", headers={"If-None-Match": shown.headers["etag"]})
    assert again.status_code == 304
    assert (
        "From the first check to the last it has become 0.0040 ± 0.0028 mm thinner" in browser.text
    )


def test_a_gauge_is_added_corrected_with_its_earlier_words_kept_and_refused_in_words(browser):
    browser.open("/gauges/new/blade")
    browser.send("main form", status=422, label="0.0015 in", nominal="1.5")
    assert {one["href"] for one in browser.page.select(".problems a")} == {"#nominal"}
    browser.send("main form", status=422, label="0.0015 in", nominal="0.0015")
    assert "There is a blade of that name in use" in browser.text
    browser.send("main form", label="0.0015 in, second", nominal="0.0015")
    address = browser.path
    assert "0.0381 mm as marked" in browser.text
    browser.open(f"{address}/edit")
    assert browser.page.select_one("#nominal")["value"] == "0.0015"
    browser.send("main form", label="0.002 in", nominal="0.002")
    assert "label: 0.0015 in, second; nominal: 0.0381 mm" in browser.text


def test_two_windows_correcting_one_gauge_lose_nothing(browser):
    address = link_to(browser, THIN)
    browser.open(f"{address}/edit")
    stale = browser.page.select_one("[name=version]")["value"]
    browser.send("main form", notes="kept in the drawer")
    browser.open(f"{address}/edit")
    browser.send("main form", status=409, version=stale, notes="kept on the shelf")
    assert "kept in the drawer" in browser.text
    browser.send("main form")
    assert "kept on the shelf" in browser.text


def test_the_grid_proposes_the_set_of_the_piece_s_family_and_another_can_be_taken(browser, take_in):
    browser.open("/blade-sets/new")
    blades = {one.text.strip(): one.input["value"] for one in browser.page.select("label.tick")}
    chosen = [blades["0.050 in"], blades["0.016 in"], blades[THIN]]
    browser.send("main form", name="three for saxophones", blade=chosen)
    options = {one.text: one["value"] for one in browser.page.select("#family_saxophones option")}
    browser.send("form[action$='/families']", family_saxophones=options["three for saxophones"])
    sax = take_in(piece_instrument_kind="sax_tenor")
    clarinet = take_in("Benno Quastenflug", piece_instrument_kind="clarinet_bb")

    def rows():
        return [one.text for one in browser.page.select(".grid:not(.part .grid) tbody th")][:-2]

    browser.open(f"/jobs/{clarinet}/readings")
    assert rows() == [THIN, "0.010 in", "0.024 in", THICK]
    browser.open(f"/jobs/{sax}/readings")
    assert rows() == [THIN, "0.016 in", "0.050 in"]
    # a typed cell survives the change to another set, even of a blade that is not in it
    thick = browser.page.select_one(".grid [aria-label='left rail, 0.050 in']")["name"]
    four = {one.text: one["value"] for one in browser.page.select("#blade_set option")}
    browser.send(
        "form[data-grid]",
        do="blades",
        blade_set=four["four blades (0.034 to 0.0015 in)"],
        **{thick: "9"},
    )
    assert rows() == [THIN, "0.010 in", "0.024 in", THICK, "0.050 in"]
    assert browser.page.select_one(f"#{thick}")["value"] == "9"


def test_a_blade_set_that_cannot_be_comes_back_with_everything_as_typed(browser):
    browser.open("/blade-sets/new")
    browser.send("main form", status=422, name="none")
    assert "Choose at least one blade" in browser.page.select_one("#blade-problem").text
    assert browser.page.select_one("#name")["value"] == "none"
    one = browser.page.select_one("[name=blade]")["value"]
    taken = "Four blades (0.034 to 0.0015 in)"
    browser.send("main form", status=422, name=taken, blade=[one])
    assert "There is a blade set of that name already" in browser.text
    assert [tick["value"] for tick in browser.page.select("[name=blade][checked]")] == [one]
    browser.open("/gauges")
    browser.send("form[action$='/families']", status=422, family_others="99")
    assert "Choose a set from the list" in browser.page.select_one("#family_others-problem").text


def test_two_windows_changing_one_blade_set_lose_nothing(browser):
    browser.open("/blade-sets/1/edit")
    stale = browser.page.select_one("[name=version]")["value"]
    ticks = [one["value"] for one in browser.page.select("[name=blade]")]
    browser.send("main form", name="three blades", blade=ticks[:3])
    browser.open("/blade-sets/1/edit")
    browser.send("main form", status=409, version=stale, name="two blades", blade=ticks[:2])
    assert "three blades" in browser.text
    browser.send("main form")
    browser.open("/blade-sets/1/edit")
    assert browser.page.select_one("#name")["value"] == "two blades"
    assert len(browser.page.select("[name=blade][checked]")) == 2


def test_a_changed_set_leaves_old_readings_and_their_correction_whole(browser, measured):
    browser.open("/gauges")
    edit = browser.page.select_one("a[href^='/blade-sets/']:not([href$=new])")["href"]
    browser.open(edit)
    ticks = [one for one in browser.page.select("[name=blade]") if one.has_attr("checked")]
    browser.send("main form", blade=[ticks[0]["value"], ticks[-1]["value"]])
    browser.open(edit)
    assert "blades: 0.034 in, 0.024 in, 0.010 in, 0.0015 in" in browser.text
    browser.open(measured)
    assert READ in browser.text
    browser.open(f"{measured}/correct")
    assert len(browser.page.select(".grid:not(.part .grid) tbody th")) == 4 + 2
    browser.send("form[data-grid]", tip="1.06", why="misread")
    assert "33.5 21.5 11.5 5.5 / 1.06" in browser.text


def test_a_correction_is_read_on_the_gauges_the_readings_were_taken_with(browser, measured):
    browser.open("/settings")
    glasses = {one.text: one["value"] for one in browser.page.select("#glass_id option")}
    browser.send("main form", glass_id=glasses["Glass, whole millimetres"])
    browser.open(f"{measured}/correct")
    assert "half-millimetre numbers on the glass" in browser.text
    browser.send("form[data-grid]", tip="1.03", why="misread")
    browser.open(browser.page.select("#readings tbody a")[-1]["href"])
    assert browser.page.select_one(".figures dd").text.startswith("16.75 mm")


def study(browser, address, rounds):
    browser.open(f"{address}/studies/new?pieces=3&turns={len(rounds)}")
    cells = {
        f"t{turn}_{place}": number
        for turn, line in enumerate(rounds, 1)
        for place, number in enumerate(line.split(), 1)
    }
    browser.send("form[data-grid]", **cells)


def test_an_adopted_study_changes_the_uncertainty_on_the_measurement_page(browser, measured):
    browser.open(measured)
    rows = cells_of(browser, "How sure one reading is")
    assert "not studied yet; 0.13 mm assumed" in rows["Where it stops, every blade"][0]
    assert rows["Where it stops, every blade"][1] == "0.15 mm"
    glass = link_to(browser, "Glass, half-millimetre numbers")
    study(browser, glass, ["34 38 30", "34 38 30", "34 38 30.5", "34 38 30", "34 38 30"])
    assert "changes nothing until you use it" in browser.text
    kept = browser.path
    browser.open(measured)
    assert cells_of(browser, "How sure one reading is")["Where it stops, every blade"][1:] == [
        "0.15 mm",
        "0.30 mm",
    ]
    browser.open(kept)
    browser.send("form[action$='/adopt']", do="use")
    assert "In use since 25 November 2026" in browser.text
    browser.open(measured)
    rows = cells_of(browser, "How sure one reading is")
    # √(0.2/12)/2 = 0.0645 mm by hand, with 0.125/√3 = 0.0722
    assert "by the study of 25 November 2026: 0.065" in rows["Where it stops, every blade"][0]
    assert rows["Where it stops, every blade"][1:] == ["0.097 mm", "0.19 mm"]
    browser.open(kept)
    browser.send("form[action$='/adopt']", do="leave")
    browser.open(measured)
    assert "0.13 mm assumed" in browser.text


def test_a_study_is_checked_before_it_is_kept_and_comes_back_as_typed_when_refused(browser):
    address = link_to(browser, THIN)
    browser.open(f"{address}/studies/new")
    browser.send("form[data-grid]", status=422, t1_1="34", t2_1="thirty")
    assert "is not a number" in browser.page.select_one("#t2_1-problem").text
    assert browser.page.select_one("#t1_1")["value"] == "34"
    browser.send("form[data-grid]", do="check", t2_1="34,5", t3_1="34", piece_1="old cap")
    assert "What it comes to; nothing is kept yet" in browser.text
    assert "Only 2 degrees of freedom" in browser.text
    assert browser.page.select_one("#t2_1")["value"] == "34,5"
    browser.send("form[data-grid]")
    assert "34 34,5 34" in browser.text
    assert "old cap" in browser.text


def test_a_retired_gauge_stays_named_on_old_readings_and_another_takes_its_place(
    browser, take_in, measured
):
    old = link_to(browser, THIN)
    browser.open("/gauges/new/blade")
    browser.send("main form", label="0.0015 in, second", nominal="0.0015")
    browser.open(old)
    options = {one.text: one["value"] for one in browser.page.select("#instead option")}
    browser.send("form[action$='/retire']", do="retire", instead=options["0.0015 in, second"])
    browser.open(measured)
    named = {row.split(" ")[0] for row in cells_of(browser, "The gauges used")}
    assert "0.0015" in named
    assert "retired" in browser.page.select_one(f"#gauges a[href='{old}']").parent.text
    job = take_in("Benno Quastenflug")
    browser.open(f"/jobs/{job}/readings")
    assert len(browser.page.select(".grid:not(.part .grid) tbody th")) == 4 + 2
    browser.open("/gauges")
    sets = browser.page.select_one("#blade-sets").text
    assert sets.count("0.0015 in, second") == 3  # each of the three sets held the old one
    browser.open(old)
    assert "1 reading set" in browser.text
    browser.send("form[action$='/retire']", do="bring_back")
    assert "It is in use again" in browser.text


def test_what_the_shop_reads_with_is_not_retired_without_another_in_its_place(browser):
    glass = link_to(browser, "Glass, half-millimetre numbers")
    browser.open(glass)
    browser.send("form[action$='/retire']", status=422, do="retire")
    assert "Choose what takes its place" in browser.text
    options = {one.text: one["value"] for one in browser.page.select("#instead option")}
    browser.send(
        "form[action$='/retire']", do="retire", instead=options["Glass, whole millimetres"]
    )
    browser.open("/settings")
    assert browser.page.select_one("#glass_id option[selected]").text == "Glass, whole millimetres"


def test_the_preview_already_counts_with_the_sizes_in_force(browser, client, clock, take_in):
    clock.at = datetime(2026, 5, 1, 12, tzinfo=UTC)
    job = take_in()
    browser.open(f"/jobs/{job}/readings")
    names = [one["name"] for one in browser.page.select(".grid:not(.part .grid) [data-cell]")]
    cells = dict(
        zip(names, ("33.5", "33.5", "21.5", "21.5", "11.5", "11.5", "5.5", "5.5"), strict=False)
    )

    def words():
        return client.post("/readings/preview?piece=1", data=cells).json()["preview"]

    plain = words()
    assert "Type the readings" not in plain
    enter_check(browser, THIN, "2026-03-01", "0.0300")
    assert words() != plain


def test_gauges_are_linked_from_the_shop_and_the_words_on_uncertainty(browser, measured):
    browser.open("/settings")
    assert browser.page.select_one("main a[href='/gauges']") is not None
    browser.open(measured)
    assert browser.page.select_one("#gauges a[href='/gauges']") is not None


@pytest.mark.parametrize(
    "path", ["/gauges/999", "/gauges/new/ruler", "/gauges/1/studies/9", "/blade-sets/99/edit"]
)
def test_what_is_not_in_the_register_is_said_in_words(browser, path):
    browser.open(path, status=404)
    assert "Not in this book" in browser.text
