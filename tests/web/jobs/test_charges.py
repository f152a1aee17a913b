"""Charges and payments: exact sums, nothing lost, and the bill as printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.jobs.charges import add_up

AMOUNTS = st.lists(st.integers(-(10**9), 10**9), max_size=30)


@given(AMOUNTS, AMOUNTS)
def test_the_balance_is_what_lines_and_payments_leave_to_the_last_cent(charges, payments):
    account = add_up([*charges, 8500], payments)
    total = 8500 + sum(charges)
    assert account.balance_minor == total - sum(payments)


def test_without_a_price_there_is_no_balance():
    assert add_up([], []).say_balance() == "no price yet"


@pytest.fixture
def job(browser, take_in):
    number = take_in()
    browser.open(f"/jobs/{number}/edit")
    browser.send("main form", agreed_work="Open the tip.", agreed_price="85", deposit="20")
    return number


def figures(browser):
    return {
        one.select_one("dt").text: one.select_one("dd").get_text(" ", strip=True)
        for one in browser.page.select("main .figures div")
    }


def test_lines_deposit_and_payment_come_to_a_balance(browser, job):
    browser.open(f"/jobs/{job}/charges")
    assert figures(browser)["Balance"] == "85.00 EUR to pay"
    browser.send("form[action$='/charges']", charge_label="a second ligature", charge_amount="7,95")
    browser.send("form[action$='/charges']", charge_label="by express", charge_amount="12.05")
    browser.send(
        "form[action$='/charges']",
        charge_label="for waiting", charge_amount="15", charge_kind="discount",
    )  # fmt: skip
    browser.send("form[action$='/payments']", payment_amount="20", payment_kind="deposit")
    assert figures(browser) == {
        "Total": "90.00 EUR",
        "Deposit asked for": "20.00 EUR",
        "Paid": "20.00 EUR",
        "Balance": "70.00 EUR to pay",
    }
    browser.send("form[action$='/payments']", payment_amount="70", payment_kind="payment")
    assert figures(browser)["Balance"] == "0.00 EUR paid in full"
    browser.open(f"/jobs/{job}")
    assert "paid in full" in browser.text
    assert "Deposit: 20.00 EUR" in browser.text


def test_a_line_struck_out_does_not_count_and_can_be_brought_back(browser, job):
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/charges']", charge_label="by express", charge_amount="12")
    assert figures(browser)["Total"] == "97.00 EUR"
    browser.send("form[action$='/charges/1/strike']")
    assert figures(browser)["Total"] == "85.00 EUR"
    assert browser.page.select_one("tr.struck")
    browser.send("form[action$='/charges/1/strike']")
    assert figures(browser)["Total"] == "97.00 EUR"
    browser.open(f"/jobs/{job}")
    assert "Struck out: by express, 12.00 EUR" in browser.text


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"charge_label": "", "charge_amount": "5"}, "Write what it is for"),
        ({"charge_label": "x", "charge_amount": ""}, "Write the amount"),
        ({"charge_label": "x", "charge_amount": "1.005"}, "at most two decimals"),
        ({"charge_label": "x", "charge_amount": "-5"}, "is not an amount"),
        ({"charge_label": "x", "charge_amount": "0"}, "amount of nothing"),
    ],
)
def test_a_line_that_is_no_line_is_refused_with_what_was_typed(browser, job, typed, words):
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/charges']", status=422, **typed)
    assert words in browser.text
    assert browser.page.select_one("#charge_label")["value"] == typed["charge_label"]


def test_a_charge_is_of_its_own_day_and_never_of_one_to_come(browser, job):
    browser.open(f"/jobs/{job}/charges")
    typed = {"charge_label": "by express", "charge_amount": "12"}
    browser.send("form[action$='/charges']", status=422, charged_on="2027-01-01", **typed)
    assert "A charge can't be dated in the future." in browser.text
    browser.send("form[action$='/charges']", charged_on="2019-05-03", **typed)
    assert "3 May 2019" in browser.page.select_one("main table").text


def test_a_payment_in_the_future_is_refused(browser, job):
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/payments']", status=422, payment_amount="5", paid_on="2027-01-01")
    assert "dated in the future" in browser.text


def test_the_bill_and_the_intake_slip_show_the_sums(browser, job):
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/charges']", charge_label="by express", charge_amount="12")
    browser.open(f"/jobs/{job}/papers/estimate")
    said = paper_words(browser)
    assert "Open the tip. 85.00 EUR by express 12.00 EUR" in said
    assert "Total 97.00 EUR Deposit asked 20.00 EUR Balance, after the deposit 77.00 EUR" in said
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/payments']", payment_amount="20", payment_kind="deposit")
    browser.send("form[action$='/payments']", payment_amount="7", payment_kind="payment")
    browser.open(f"/jobs/{job}/papers/bill")
    said = paper_words(browser)
    assert "Open the tip. 85.00 EUR by express 12.00 EUR" in said
    assert "Total 97.00 EUR Deposit 20.00 EUR Paid 7.00 EUR Balance: to pay 70.00 EUR" in said
    browser.open(f"/jobs/{job}/papers/intake_slip")
    assert paper_words(browser).count("97.00 EUR paid 27.00 EUR") == 2


def test_a_paper_of_a_job_nobody_has_agreed_on_says_so(browser, take_in):
    browser.open(f"/jobs/{take_in()}/papers/estimate")
    assert "nothing agreed yet – Total no price yet" in paper_words(browser)


def paper_words(browser):
    return " ".join(browser.page.select_one("section.unseen").get_text(" ").split())


def test_a_shop_that_counts_in_yen_writes_no_decimals_anywhere(browser, take_in):
    browser.open("/settings")
    browser.send("main form", currency="JPY")
    job = take_in(declared_value="12000")
    browser.open(f"/jobs/{job}/edit")
    browser.send("main form", status=422, agreed_work="Open the tip.", agreed_price="85.50")
    assert "an amount in JPY has no decimals" in browser.text
    browser.send("main form", agreed_work="Open the tip.", agreed_price="8500", deposit="2000")
    browser.open(f"/jobs/{job}/edit")
    assert browser.page.select_one("#agreed_price")["value"] == "8500"
    assert browser.page.select_one("#declared_value")["value"] == "12000"
    browser.open(f"/jobs/{job}/charges")
    browser.send("form[action$='/payments']", payment_amount="2000", payment_kind="deposit")
    assert figures(browser)["Balance"] == "6\u202f500 JPY to pay"
    browser.open(f"/jobs/{job}/papers/bill")
    assert "8\u202f500 JPY" in browser.page.select_one("main").text
    assert ".00" not in browser.page.select_one("main").text


def test_the_currency_does_not_change_what_amounts_already_say(browser, job):
    browser.open("/settings")
    page = browser.send("main form", status=422, currency="JPY")
    assert "Amounts are written in EUR already, with 2 decimals; JPY has none" in browser.text
    assert page.select_one("#currency")["value"] == "JPY"
    browser.send("main form", status=422, currency="CHF")
    assert "what says 85.50 EUR would say 85.50 CHF" in browser.text
    browser.send("main form", relabel="CHF")
    browser.open(f"/jobs/{job}/charges")
    assert figures(browser)["Total"] == "85.00 CHF"
