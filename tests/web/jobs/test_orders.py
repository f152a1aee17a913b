"""An order of several pieces: one slip, bill and parcel; quotes; what is out or to come."""

import re

import pytest


@pytest.fixture
def order(browser):
    """Take three pieces in as one order, priced by the list."""
    browser.open("/settings/prices")
    browser.send("main form", label_new0="refacing", price_new0="73.10", label_new1="refacing",
                 family_new1="saxophones", price_new1="88.20")  # fmt: skip
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send("main form", do="take_in", customer_name="Ottilie Wiesenrauch",
                 piece_marking="N4", piece_asked="squeaks", piece2_marking="T1",
                 piece2_instrument_kind="sax_tenor", piece3_marking="N5",
                 piece3_instrument_kind="clarinet_bb", request="playable again",
                 deposit="30", declared_value="420", came_with=["cap"],
                 service=["refacing"])  # fmt: skip
    return browser


def words_of(browser, kind, job=1):
    browser.open(f"/jobs/{job}/papers/{kind}")
    beside = browser.page.select_one("[aria-label='The words on this paper']")
    return re.sub(r"\s+", " ", (beside or browser.page.select_one("main")).get_text(" "))


@pytest.mark.parametrize("job", [1, 3])
def test_every_paper_of_the_order_is_one_under_its_first_number(order, job):
    slip = words_of(order, "intake_slip", job)
    assert "3 pieces" in slip
    assert "jobs 1 to 3" in slip
    for words in ("“N4”", "“T1”", "“N5”", "squeaks", "playable again", "420.00", "234.40"):
        assert words in slip
    bill = words_of(order, "bill", job)
    assert "2 · “T1”: refacing" in bill
    assert "234.40 EUR" in bill
    assert "Deposit asked" in words_of(order, "estimate", job)
    packed = words_of(order, "packing_note", job)
    assert [packed.count(one) for one in ("“N4”", "“T1”", "“N5”", "cap")] == [1, 1, 1, 3]


def test_a_piece_that_went_home_before_is_not_packed_again(order):
    order.open("/jobs/2")
    order.send("form.with-button", stage="returned")
    assert "“T1”" not in words_of(order, "packing_note")


def test_a_message_speaks_of_the_whole_order_and_of_what_stands_on_its_bill(order):
    order.open("/jobs/2/messages")
    text = order.page.select_one("#estimate-text").text
    assert "for your “T1” and 2 more I propose:\nrefacing\n" in text
    assert "Price: 234.40 EUR. Deposit: 30.00 EUR." in text


def test_what_holds_for_some_pieces_names_their_jobs_on_the_one_slip(order):
    order.open("/jobs/3/edit")
    order.send("main form", risk=["crack: may run on"])
    order.open("/jobs/2/memos")
    order.send("form[action$='/memos/warranty']", warranty_due="2027-11-25",
               warranty_covers="the facing")  # fmt: skip
    slip = words_of(order, "intake_slip")
    assert "Risks accepted: crack: may run on (job 3)" in slip
    assert "job 2: until 25 November 2027 the facing" in slip
    assert "cap (job" not in slip


def test_one_parcel_holds_the_pieces_that_are_ticked_and_is_known_to_all_of_them(order):
    order.open("/jobs/3/memos")
    order.send("form[action$='/memos/parcel']", status=422, parcel_way="out", jobs=[])
    assert "Tick which pieces are in it." in order.text
    order.send("form[action$='/memos/parcel']", parcel_number="QX 5", jobs=["1", "3"])
    for address in ("/jobs/1/memos", "/jobs/2/memos", "/pieces/3/memos"):
        order.open(address)
        assert "In it, jobs 1, 3" in order.page.select_one("#parcel").get_text(" ", strip=True)
    packed = words_of(order, "packing_note", 2)
    assert "tracking QX 5" in packed
    assert [packed.count(one) for one in ("“N4”", "“T1”", "“N5”", "cap")] == [1, 0, 1, 2]
    order.open("/jobs/2/memos")
    order.send("#parcel form[action$=strike]", do="strike")
    assert order.path == "/jobs/2/memos"


def test_a_box_that_is_expected_comes_in_with_its_parcel_and_the_rest_at_once(browser):
    browser.open("/drop-off")
    browser.send("main form", do="more")
    browser.send("main form", do="take_in", customer_name="Ottilie Wiesenrauch", here="expected",
                 piece_marking="N4", piece2_marking="N5", piece3_marking="N6")  # fmt: skip
    browser.open("/jobs/2/memos")
    browser.send("form[action$='/memos/parcel']", parcel_way="in", parcel_due="2026-11-25",
                 jobs=["1"])  # fmt: skip
    browser.open("/")
    assert "job 1 25 November" in browser.page.select_one("#awaited").parent.text
    browser.open("/jobs/2/memos")
    browser.send("#parcel form[action$=done]")
    assert _stages(browser) == ["dropped off", "expected", "expected"]
    browser.send(".next form", of="order")
    assert _stages(browser) == ["dropped off"] * 3


def _stages(browser):
    stages = []
    for job in (1, 2, 3):
        browser.open(f"/jobs/{job}")
        stages.append(browser.page.select_one(".stages [aria-current=step]").text)
    return stages


def test_one_payment_settles_the_whole_order_from_any_of_its_jobs(order):
    order.open("/jobs/3/charges")
    assert "234.40" in order.text
    order.send("form[action$=payments]", payment_amount="234.40")
    for job in (1, 2, 3):
        order.open(f"/jobs/{job}/charges")
        assert "paid in full" in order.text


def test_a_quote_is_told_accepted_by_message_and_moves_every_piece_on(order, clock, read_line):
    from tests.lines import RECEIVED_LINE

    read_line(1, RECEIVED_LINE)
    order.open("/jobs/2/charges")
    order.send("form[action$=quotes]", good_until="2026-12-20")
    assert "234.40 EUR quoted on 25 November 2026, good until 20 December 2026" in order.text
    clock.pass_days(3)
    order.open("/jobs/2/charges")
    order.send("form[action*='quotes/']", status=422, answered_on="2026-11-20")
    assert "can't be answered before it was told" in order.text
    order.send("form[action*='quotes/']", answered_on="2026-11-27", answer="accepted",
               answered_by="message")  # fmt: skip
    assert "accepted on 27 November 2026 by message" in order.text
    order.open("/jobs/1")
    assert order.page.select_one(".stages [aria-current=step]").text == "agreed"
    assert "refacing" in order.page.select_one(".job-asked").text


def test_a_quote_struck_out_waits_for_no_answer_and_comes_back(order):
    order.open("/jobs/3/charges")
    order.send("form[action$=quotes]")
    order.send("#quote form[action$=strike]", do="strike")
    assert order.path == "/jobs/3/charges"
    assert order.page.select_one("#quote .struck").text.startswith("234.40 EUR quoted on")
    assert not order.page.select("form[action*='quotes/']")
    order.send("#quote form[action$=strike]", do="bring_back")
    assert order.page.select("form[action*='quotes/']")


def test_a_quote_of_nothing_or_one_that_ends_before_it_begins_is_refused(browser, take_in):
    take_in()
    browser.open("/jobs/1/charges")
    browser.send("form[action$=quotes]", status=422, good_until="2026-11-01")
    assert "can't end before the day it was told" in browser.text
    assert "Nothing has a price yet" in browser.text


def test_the_price_list_is_picked_at_the_bill_at_the_piece_s_price(order):
    order.open("/jobs/2/charges")
    assert "refacing, 88.20 EUR" in order.text
    order.send("form[aria-label='From the price list']", service="refacing")
    assert order.text.count("88.20 EUR") >= 3


def test_a_piece_goes_out_is_missed_when_due_and_comes_home(browser, take_in, clock):
    take_in()
    browser.open("/jobs/1/memos")
    browser.send("form[action$='memos/away']", status=422, away_where="workshop",
                 away_due="2026-11-20", away_whom="the plater")  # fmt: skip
    assert "Due back” can’t be before 25 November 2026" in browser.text
    browser.send("form[action$='memos/away']", away_due="2026-12-05")
    browser.open("/jobs/1/memos")
    browser.send("form[action$='memos/away']", status=422, away_where="trial",
                 away_due="2026-12-09")  # fmt: skip
    assert "It is out already, due back 5 December 2026" in browser.text
    clock.pass_days(12)
    browser.open("/")
    assert "Out of the shop, due back 5 December 2026" in browser.text
    assert "2 days ago" in browser.page.select_one("#awaited").parent.text
    browser.open("/jobs/1")
    browser.send("form[action$='/done']")
    browser.open("/")
    assert "Out of the shop" not in browser.text


def test_the_queue_has_places_and_misses_what_should_have_come(browser, clock):
    for name, day in (("Ottilie Wiesenrauch", "2026-11-30"), ("Jörg Ł", "")):
        browser.open("/drop-off")
        browser.send("main form", do="take_in", customer_name=name, piece_marking="N4",
                     here="expected", expected_on=day)  # fmt: skip
    clock.pass_days(8)
    browser.open("/")
    assert "1 piece should have come by now: job 1" in browser.text
    places = [one.text for one in browser.page.select("#expected ~ ul b")]
    assert places == ["Place 1: “N4”", "Place 2: “N4”"]
    assert "Too few jobs went home yet" in browser.text


def test_the_made_up_shop_tells_its_queue_an_honest_day(shop_browser):
    shop_browser.open("/")
    queue = shop_browser.page.select_one("#expected").parent.text
    assert "ready about" in queue
    assert re.search(r"of \d+ checked, \d+ were ready", queue)
