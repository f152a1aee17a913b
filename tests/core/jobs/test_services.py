"""The price list: lines by family and material, the closest one taken, mistakes in words."""

import pytest

from app.core.jobs.services import Offer, ServiceEntry, offer_services, parse_services, price_of
from app.core.values.forms import Refused

LIST = (
    ServiceEntry("refacing", "", "", 7310),
    ServiceEntry("refacing", "saxophones", "", 8820),
    ServiceEntry("refacing", "", "metal", 9930),
    ServiceEntry("refacing", "saxophones", "metal", 12140),
    ServiceEntry("new cork", "clarinets", "", 1870),
)


@pytest.mark.parametrize(
    ("kind", "material", "price"),
    [
        ("clarinet_bb", "hard_rubber", 7310),
        ("sax_tenor", "hard_rubber", 8820),
        ("clarinet_bass", "metal", 9930),
        ("sax_alto", "metal", 12140),
    ],
)
def test_the_closest_line_is_the_price(kind, material, price):
    found = price_of(LIST, "Refacing", kind, material)
    assert found is not None
    assert found.price_minor == price


def test_what_has_no_price_for_a_piece_is_not_offered_for_it():
    assert price_of(LIST, "new cork", "sax_alto", "metal") is None
    assert offer_services(LIST, "sax_alto", "metal") == [Offer("refacing", 12140, 12140)]


def test_while_the_piece_is_not_known_a_service_is_offered_from_its_least_to_its_most():
    assert offer_services(LIST) == [Offer("refacing", 7310, 12140), Offer("new cork", 1870, 1870)]


def test_lines_are_read_by_their_marks_and_empty_new_ones_are_left_out():
    raw = {"label_3": "refacing", "price_3": "73,10", "retired_3": "yes",
           "label_new0": " new  cork ", "family_new0": "clarinets", "price_new0": "18.70",
           "label_new1": "", "price_new1": ""}  # fmt: skip
    assert parse_services(raw, [3], "EUR") == {
        "3": ServiceEntry("refacing", "", "", 7310, retired=True),
        "new0": ServiceEntry("new cork", "clarinets", "", 1870),
    }


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"label_new0": "cork"}, "price_new0", "Write what it costs."),
        ({"price_new0": "5"}, "label_new0", "Write what it is for."),
        ({"label_new0": "cork", "price_new0": "20 USD"}, "price_new0", "USD"),
        ({"label_new0": "Refacing", "price_new0": "5"}, "label_new0", "has a price for these"),
        ({"label_new0": "cork", "price_new0": "-5"}, "price_new0", "not an amount"),
    ],
)
def test_what_can_not_be_a_price_is_refused_in_words(typed, field, words):
    refused = parse_services({"label_3": "refacing", "price_3": "9", **typed}, [3], "EUR")
    assert isinstance(refused, Refused)
    assert words in refused.problems[field]
