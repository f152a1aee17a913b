"""How old notebooks say it: instruments, halves, quotation marks, months, before and after."""

from datetime import date

import pytest

from app.core.facing.measurements import count_stops, spread_line
from app.core.shop.notebooks import find_instrument, parse_rows, read_table
from app.core.values.units import SCALES, parse_length, parse_number
from tests.core.facing.test_measurements import GAUGES

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("written", "kind"),
    [
        ("bari sax", "sax_baritone"), ("Alto", "sax_alto"), ("Eb alto saxophone", "sax_alto"),
        ("clarinet in Bb", "clarinet_bb"), ("Clarinet in A", "clarinet_bb"),
        ("Eb clarinet", "clarinet_eb"), ("C-melody sax", "sax_c_melody"),
        ("contra-alto clarinet", "clarinet_contra_alto"), ("bass cl", "clarinet_bass"),
        ("bass", None), ("old clarinet", None), ("", None),
    ],
)  # fmt: skip
def test_an_instrument_is_known_however_a_notebook_calls_it(written, kind):
    assert find_instrument(written) == kind


def test_six_and_a_half_and_thousandths_are_read_as_they_are_written():
    assert parse_number("6-1/2") == parse_number("6 1/2") == 6.5
    assert parse_length("63 thou", SCALES["length_mm"]) == pytest.approx(1.6002)
    assert parse_length("0.063”", SCALES["length_mm"]) == pytest.approx(1.6002)
    cells = spread_line("35-1/2 22 13 6-1/2 / 1.12", GAUGES.blades)
    assert "35 1/2" in cells.values()
    assert "6 1/2" in cells.values()
    assert count_stops("35.5/35 22 13 6 1/2 / 1.12 / 0.589") == 4


@pytest.mark.parametrize(
    ("measured", "role"), [("before", "as_received"), ("After", "as_returned"), ("", "reference")]
)
@pytest.mark.parametrize(
    ("written", "day"),
    [("2019-05", date(2019, 5, 1)), ("May 2019", date(2019, 5, 1)), ("5/2019", date(2019, 5, 1)),
     ("sept. 2018", date(2018, 9, 1)), ("2019-05-03", date(2019, 5, 3))],
)  # fmt: skip
def test_a_month_without_a_day_is_kept_as_its_first_and_said_so(measured, role, written, day):
    table = read_table(
        "name,instrument,marking,date,measured,readings\n"
        f"O W,clarinet,“N4”,{written},{measured},35.5 22 13 6.5 / 1.12\n"
    )
    (row,) = parse_rows(table, lambda _kind, _line: GAUGES, TODAY)
    assert row.problems == ()
    assert row.piece.marking == "N4"
    assert (row.readings.taken_on, row.readings.role) == (day, role)
    only_month = written != "2019-05-03"
    assert any("names no day" in one for one in row.doubts) == only_month
    assert (f"only the month is known: {written}" in row.readings.note) == only_month
