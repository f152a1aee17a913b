"""The price list's page: one table, kept together, nothing lost that was typed."""

import pytest


@pytest.fixture
def priced(browser):
    """Write three prices."""
    browser.open("/settings/prices")
    browser.send("main form", label_new0="refacing", price_new0="73.10", label_new1="refacing",
                 family_new1="saxophones", price_new1="88.20", label_new2="new cork",
                 price_new2="18.70")  # fmt: skip
    return browser


def labels(browser):
    return [one["value"] for one in browser.page.select("input[name^=label_]") if one["value"]]


def test_prices_are_kept_changed_and_no_longer_offered(priced):
    assert priced.page.select_one(".said")
    assert labels(priced) == ["new cork", "refacing", "refacing"]
    priced.send("main form", price_3="19.90", retired_1="yes")
    assert priced.page.select_one("#price_3")["value"] == "19.90"
    assert priced.page.select_one("[name=retired_1]").has_attr("checked")
    assert not priced.page.select_one("[name=retired_2]").has_attr("checked")


def test_a_price_in_another_currency_is_refused_in_words_and_everything_typed_stays(priced):
    priced.send("main form", status=422, label_new0="polish", price_new0="45 USD", price_1="80")
    assert "USD" in priced.page.select_one("#price_new0-problem").text
    assert priced.page.select_one("#label_new0")["value"] == "polish"
    assert priced.page.select_one("#price_1")["value"] == "80"


def test_a_line_changed_in_another_window_is_not_written_over(priced):
    stale = {"version_1": "1", "price_1": "70"}
    priced.send("main form", price_1="75")
    priced.open("/settings/prices")
    priced.send("main form", status=422, **stale)
    assert "another window" in priced.text
    priced.open("/settings/prices")
    assert priced.page.select_one("#price_1")["value"] == "75.00"


def test_once_a_price_is_written_the_currency_keeps_its_decimals(priced):
    priced.open("/settings")
    priced.send("main form", status=422, currency="JPY")
    assert "Amounts are written in EUR" in priced.text
