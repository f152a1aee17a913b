"""Bad input comes back in words with everything typed; unusual input is asked about once."""

from tests.conftest import form_values
from tests.lines import CLOSE_LINE


def test_a_drop_off_without_name_and_piece_keeps_all_that_was_typed(browser):
    browser.open("/drop-off")
    page = browser.send(
        "main form",
        status=422,
        do="take_in",
        request="stuffy",
        declared_value="lots",
        condition=["cracked"],
        condition_more="sticky, green",
        wanted_by="2020-01-01",
    )
    assert page.title.text.startswith("Error: ")
    words = page.select_one(".problems").get_text(" ")
    for part in ("customer's name", "known by", "not an amount", "can't be wanted before"):
        assert part in words
    assert page.select_one("#request").text.strip() == "stuffy"
    assert page.select_one("#declared_value")["value"] == "lots"
    assert page.select_one("#condition_more")["value"] == "sticky, green"
    assert page.select_one("input[value=cracked]").has_attr("checked")
    for link in page.select(".problems a"):
        assert page.select_one(f"[id='{link['href'][1:]}']") is not None


def test_a_customer_is_found_without_scripts_and_what_was_typed_stays(browser, take_in):
    take_in("Ánna Wiesenklee")
    browser.open("/drop-off")
    page = browser.send("main form", do="find", find="wiesen", request="again")
    assert "Ánna Wiesenklee" in page.select_one("[data-found-customers]").text
    assert page.select_one("#request").text.strip() == "again"
    customer = page.select_one("[data-found-customers] input")["value"]
    browser.send("main form", do="take_in", customer=customer, piece_marking="second piece")
    browser.open(f"/customers/{customer}")
    assert browser.text.count("second piece") == 2


def test_somebody_elses_piece_can_not_be_chosen(browser, take_in):
    take_in("One")
    take_in("Two")
    browser.open("/drop-off?customer=2")
    browser.send("main form", status=422, do="take_in", customer="2", piece="1")
    assert "not this customer's" in browser.text


def test_a_new_condition_is_offered_the_next_time(browser, take_in):
    take_in(condition_more="smells of cloves")
    browser.open("/drop-off")
    assert browser.page.select_one("input[value='smells of cloves']") is not None


def test_two_windows_on_one_record_show_a_conflict_and_lose_nothing(browser, client, take_in):
    take_in("One")
    browser.open("/customers/1/edit")
    data = {"version": "1", "name": "One", "phone": "01632 960001"}
    assert client.post("/customers/1/edit", data=data).status_code == 200
    page = browser.send("main form", status=409, phone="01632 960002")
    row = [cell.text for cell in page.select("tbody tr")[0].select("td")]
    assert row == ["01632 960001", "01632 960002"]
    browser.send("main form")
    assert "01632 960002" in browser.text


def test_a_conflict_says_fields_amounts_days_and_gauges_as_the_form_does(browser, client, take_in):
    job = take_in()
    browser.open(f"/jobs/{job}/edit")
    other = {"version": "1", "agreed_price": "90", "wanted_by": "2026-12-12"}
    assert client.post(f"/jobs/{job}/edit", data=other).status_code == 200
    page = browser.send("main form", status=409, agreed_price="85.5", wanted_by="2026-12-20")
    rows = {
        row.th.text: [cell.text for cell in row.select("td")] for row in page.select("tbody tr")
    }
    assert rows["Agreed price"] == ["90.00 EUR", "85.50 EUR"]
    assert rows["Wanted by"] == ["12 December 2026", "20 December 2026"]
    browser.open("/settings")
    first, second = (one["value"] for one in browser.page.select("#glass_id option")[:2])
    mine = dict(form_values(browser.page.select_one("main form")))
    assert client.post("/settings", data={**mine, "glass_id": second}).status_code == 200
    page = browser.send("main form", status=409, glass_id=first, phone="01632 960009")
    glass = next(row for row in page.select("tbody tr") if row.th.text == "Glass")
    assert all("lass" in cell.text for cell in glass.select("td"))


def test_hostile_text_is_inert_on_every_page(browser, take_in, read_line):
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{7*7}}"
    job = take_in(evil[:90], piece_marking=evil, request=evil, condition_more="<b>x</b>")
    read_line(job, CLOSE_LINE, note=evil)
    papers = [f"/jobs/{job}/papers/{kind}" for kind in ("intake_slip", "return_card")]
    pages = ["/", f"/jobs/{job}", "/pieces/1", "/customers/1", "/readings/1", "/look-up?q=script"]
    for path in [*pages, *papers]:
        page = browser.open(path)
        assert not page.select("main script, main img[onerror], main b b")
        assert "49" not in browser.text.replace("1949", "")


def test_a_pass_and_a_note_that_say_nothing_are_refused(browser, take_in):
    job = take_in()
    browser.send("form[action$=passes]", status=422, strokes="many")
    assert "Choose the kind of cut" in browser.text
    assert browser.page.select_one("#strokes")["value"] == "many"
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=notes]", status=422)
    assert "Write the note first" in browser.text


def test_a_struck_out_pass_stays_readable_and_does_not_count(browser, take_in):
    job = take_in()
    browser.send("form[action$=passes]", kind="flat", strokes="5")
    browser.send("form[action$=strike]")
    assert browser.page.select_one("tr.struck") is not None
    browser.open(f"/jobs/{job}/papers/return_card")
    assert "5 strokes" not in browser.text
    browser.open(f"/jobs/{job}")
    browser.send("form[action$=strike]")
    assert browser.page.select_one("tr.struck") is None


def test_a_sold_piece_keeps_its_history_under_the_new_owner(browser, take_in, read_line):
    job = take_in("First Owner")
    read_line(job, CLOSE_LINE)
    take_in("Second Owner", piece_marking="other")
    browser.open("/pieces/1/owner?find=second")
    browser.send("main form[method=post]", owner="2")
    assert "Second Owner" in browser.text
    assert "Written down as First Owner’s" in browser.text
    assert "Sold on to Second Owner" in browser.text
    assert CLOSE_LINE in browser.text
