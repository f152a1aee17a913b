"""What a plan must know of the piece: read, refused by field, and the table's end from it."""

import pytest

from app.core.plan.piece_limits import PieceLimits, find_table_end, parse_limits
from app.core.values.forms import Refused


def test_what_is_empty_is_not_known():
    assert parse_limits({}) == PieceLimits()
    found = parse_limits({"window_end": "32,5", "tip_slope": "60", "table_allowance": "0.3"})
    assert found == PieceLimits(window_end_mm=32.5, tip_slope_deg=60.0, table_allowance_mm=0.3)


@pytest.mark.parametrize(
    ("field", "typed"),
    [("window_end", "0"), ("window_end", "400"), ("table_length", "long"), ("tip_slope", "90"),
     ("beak_slope", "0"), ("table_allowance", "9")],
)  # fmt: skip
def test_a_length_or_slope_that_can_not_be_is_refused_by_field(field, typed):
    found = parse_limits({field: typed, "window_end": "30" if field != "window_end" else typed})
    assert isinstance(found, Refused)
    assert list(found.problems) == [field]


def test_the_tables_end_is_as_measured_or_safely_beyond_the_facing():
    assert find_table_end(PieceLimits(window_end_mm=33.0, table_length_mm=20.0), 18.0) == 53.0
    assert find_table_end(PieceLimits(), 18.0) == 40.0
    assert find_table_end(PieceLimits(table_length_mm=20.0), 34.0) == 49.0
