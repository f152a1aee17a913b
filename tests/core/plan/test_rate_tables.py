"""Removal rates in words: the best known first, nothing claimed under three passes."""

import pytest

from app.core.plan.rate_tables import list_rates, name_kind
from app.core.plan.removal import RemovalPair, make_kind

TILTED = make_kind("tilted", "Wet Paper", "600", "hard_rubber")
FLAT = make_kind("flat", "wet paper", "P1000", "metal")
KNOWN = [RemovalPair(TILTED, n, n * 0.002, str(n)) for n in (5, 10, 20, 30)]
TWO = [RemovalPair(FLAT, 10, 0.01, "8"), RemovalPair(FLAT, 12, -0.001, "9")]


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        (TILTED, "tilted toward the tip, wet paper 600, hard rubber"),
        (FLAT, "flat on the plate, wet paper P1000, metal"),
        (make_kind("bore", "", "", "unknown"), "bore, not known"),
        (make_kind("polishing", "", "9", "unobtainium"), "polishing, 9, unobtainium"),
    ],
)
def test_a_kind_is_named_in_one_line(kind, name):
    assert name_kind(kind) == name


def test_what_is_known_comes_first_and_under_three_passes_nothing_is():
    known, unknown = list_rates([*TWO, *KNOWN])
    assert known.figure == "2 µm a stroke"
    assert known.uncertainty.startswith("± 0")
    assert [row.job for row in known.rows] == ["5", "10", "20", "30"]
    assert (known.rows[1].took, known.rows[1].each) == ("20", "2")
    assert (unknown.figure, unknown.uncertainty) == ("", "")
    assert "two passes of this kind, and at least 3" in unknown.words
    assert unknown.rows[1].took == "−1"


def test_a_depth_asked_for_gets_strokes_where_the_rate_is_known():
    known, unknown = list_rates([*TWO, *KNOWN], left_mm=0.05)
    # 70 % of 50 µm at 2 µm a stroke is 17 strokes
    assert known.proposal.startswith("17 strokes: expect 0.03 mm")
    assert unknown.proposal == ""
    assert all(one.proposal == "" for one in list_rates(KNOWN))
    assert list_rates([]) == []
