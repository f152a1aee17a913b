"""Striking a person out of texts: all that is theirs, nobody else, and no mark of a page."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.shop.erasure import STRUCK, Person, make_marks, strike, strike_page, strike_values

ADA = Person(
    names=("Ada Brook-Nettlewig", "Ada Nettlewig"),
    phones=("+44 (0)1632 96 01 23",),
    emails=("ada@brook.example",),
    addresses=("Mill Lane 3\nUnternirgend",),
)
MARKS = make_marks(ADA)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Ada Brook-Nettlewig called", "— called"),
        ("ADA  BROOK-NETTLEWIG called", "— called"),
        ("for Nettlewig, Ada.", "for —."),
        ("ask Ada about it", "ask — about it"),
        ("call 01632 960123 or 01632/96-01-23", "call 01632 960123 or 01632/96-01-23"),
        ("call +4401632960123", "call —"),
        ("call +44 01632 960 123!", "call —!"),
        ("mail Ada@Brook.example", "mail —"),
        ("sent to Mill Lane 3, Unternirgend", "sent to —, —"),
        ("Adamant nettlewigs", "Adamant nettlewigs"),
        ("", ""),
    ],
)
def test_what_is_theirs_is_struck_in_their_own_records(text, left):
    assert strike(text, MARKS.own) == left


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("a friend of Ada Nettlewig", "a friend of —"),
        ("a friend of Ada", "a friend of Ada"),
        ("Unternirgend fair", "Unternirgend fair"),
        ("call +4401632960123", "call —"),
        ("number 144016329601237", "number 144016329601237"),
    ],
)
def test_elsewhere_only_what_can_be_nobody_else_is_struck(text, left):
    assert strike(text, MARKS.elsewhere) == left


def test_a_name_that_another_customer_has_too_is_struck_only_in_their_own_records():
    marks = make_marks(Person(("Ada Nettlewig",)), shared_names=["Ada Nettlewig"])
    assert strike("Ada Nettlewig", marks.elsewhere) == "Ada Nettlewig"
    assert STRUCK in strike("Ada Nettlewig", marks.own)
    single = make_marks(Person(("Ada",)))
    assert strike("Ada", single.elsewhere) == "Ada"


def test_nobody_known_by_anything_strikes_nothing():
    marks = make_marks(Person(("", "Al"), ("12",), ("",), ("x",)))
    assert strike("Al 12 x", marks.own) == "Al 12 x"


def test_a_page_keeps_its_marks_whatever_the_person_is_called():
    page = '<table class="span" alt="Class Span"><td>Class &amp; Span</td></table>'
    marks = make_marks(Person(("Class Span", "Table Td")))
    assert strike_page(page, marks.own) == (
        '<table class="span" alt="—"><td>— &amp; —</td></table>'
    )
    quoted = make_marks(Person(('Li & "Bo" O\'Haha',)))
    page = "<p>Li &amp; &#34;Bo&#34; O&#39;Haha</p>"
    assert strike_page(page, quoted.elsewhere) == "<p>—</p>"


def test_values_are_struck_to_any_depth_and_keys_stay():
    value = {"Ada": ["Ada", {"x": "to Ada Nettlewig"}, 1, None, True]}
    assert strike_values(value, MARKS.own) == {"Ada": ["—", {"x": "to —"}, 1, None, True]}


@given(st.lists(st.text(max_size=30), max_size=3), st.text(max_size=60))
def test_any_name_may_be_forgotten_and_what_is_struck_is_gone(names, text):
    marks = make_marks(Person(tuple(names), tuple(names), tuple(names), tuple(names)))
    told = " ".join([*names, text])
    struck = strike(told, marks.own)
    for name in names:
        if len(name.split()) > 1 and STRUCK not in name:
            assert name not in strike(struck, marks.own)
