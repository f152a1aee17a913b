"""Works that are no cut: what is offered, what is refused, and how it is told."""

from datetime import date

import pytest

from app.core.values.forms import Refused
from app.core.values.passes import parse_pass
from app.core.values.works import (
    WORK_KINDS,
    done_lines,
    parse_work,
    say_all_done,
    shortened_mm,
    work_choices,
)

TODAY = date(2026, 11, 25)


def work(played_on="clarinet_bb", own=(), **typed):
    raw = {f"work_{name}": value for name, value in typed.items()}
    return parse_work(raw, own, played_on, TODAY, "EUR", date(2019, 5, 3))


def test_a_saxophone_is_offered_no_cork_and_a_clarinet_no_band_of_the_shank():
    clarinet, saxophone = (
        {key for key, _ in work_choices(kind, ["waxing"])} for kind in ("clarinet_bb", "sax_alto")
    )
    assert clarinet - saxophone == {"tenon_cork", "tenon_ring"}
    assert saxophone - clarinet == {"shank_band"}
    assert "waxing" in clarinet & saxophone


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({}, "work_kind", "Choose the work"),
        ({"kind": "other"}, "work_label", "Write what was done"),
        ({"kind": "shank_band"}, "work_kind", "saxophone"),
        ({"kind": "cut_back"}, "work_amount", "by how many mm"),
        ({"kind": "cut_back", "amount": "0"}, "work_amount", "by how many mm"),
        ({"kind": "cut_back", "amount": "16"}, "work_amount", "no facing"),
        ({"kind": "polish", "amount": "0.4"}, "work_amount", "Only a shortened tip"),
        ({"kind": "polish", "minutes": "soon"}, "work_minutes", "not a whole number"),
        ({"kind": "polish", "minutes": "6001"}, "work_minutes", "hundred hours"),
        ({"kind": "polish", "price": "12.505"}, "work_price", "at most two decimals"),
        ({"kind": "polish", "on": "2026-11-26"}, "work_on", "dated in the future"),
        ({"kind": "polish", "on": "2019-05-02"}, "work_on", "before the piece came, 3 May 2019"),
    ],
)
def test_a_work_that_is_none_is_refused_in_words(typed, field, words):
    refused = work(**typed)
    assert isinstance(refused, Refused)
    assert words in refused.problems[field]


def test_a_cork_on_a_saxophone_is_refused_by_where_the_cork_is():
    refused = work("sax_tenor", kind="tenon_cork")
    assert refused.problems["work_kind"].endswith("its cork is on the neck.")


def test_a_word_of_the_shop_s_own_is_a_kind_too():
    assert work(label="shank sleeved").label == "shank sleeved"
    again = work(own=["shank sleeved"], kind="shank sleeved")
    assert (again.kind, again.label) == ("other", "shank sleeved")


def test_what_was_done_is_told_once_by_kind_in_the_past_tense():
    raw = {"kind": "tilted", "done_on": "2026-11-24"}
    works = [
        work(kind="tenon_cork", material="sheet cork, 2 mm", on="2026-11-24"),
        work(kind="cut_back", amount="0.35"),
        work(kind="cut_back", amount="0,1"),
        work(label="shank sleeved"),
    ]
    assert done_lines([parse_pass(raw, TODAY)], works) == (
        "Worked on the plate, tilted toward the tip.",
        "Renewed the tenon cork (sheet cork, 2 mm).",
        "Shortened the tip by 0.45 mm.",
        "Shank sleeved.",
    )
    assert shortened_mm(works) == pytest.approx(0.45)
    assert done_lines([], []) == ()


def test_the_maker_reads_each_work_with_its_time():
    told = say_all_done([], [work(kind="bite_patch", material="clear, 0.8 mm", minutes="10")])
    assert told == "Bite patch, clear, 0.8 mm, 10 min."
    assert all(one.done for one in WORK_KINDS.values() if one.key != "other")
