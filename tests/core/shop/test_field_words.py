"""Fields and their values said as the forms say them."""

import pytest

from app.core.shop.field_words import label_field, say_value


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("agreed_price_minor", "Agreed price"),
        ("b12_left", "Left rail"),
        ("glass_id", "Glass"),
        ("customer_phone", "Customer’s telephone"),
        ("tilt_limit_mm_per_mm", "Tilt allowed"),
        ("wanted_by", "Wanted by"),
        ("something_new", "Something new"),
    ],
)
def test_a_field_is_called_what_its_form_calls_it(name, label):
    assert label_field(name) == label


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("agreed_price_minor", "9000", "90.00 EUR"),
        ("wanted_by", "2026-12-12", "12 December 2026"),
        ("wanted_by", "2026-02-30", "2026-02-30"),
        ("material", "hard_rubber", "hard rubber"),
        ("material", "made up by somebody", "made up by somebody"),
        ("tip_tolerance_mm", "0.02", "0.02 mm"),
        ("note", "two\nlines", "two\nlines"),
        ("note", "", ""),
    ],
)
def test_a_value_is_said_as_people_write_it_and_anything_else_stands_as_typed(name, text, said):
    assert say_value(name, text, "EUR") == said
