"""Every parser takes time in proportion to what is typed: no text holds a page up."""

import contextlib
import time

import pytest

from app.core.compare.bore import fit_bore  # noqa: F401 - core loads before it is timed
from app.core.facing.measurements import LineRefused, spread_line
from app.core.shop.notebooks import read_table
from app.core.values.cells import guard
from app.core.values.dial_columns import fill_dials
from app.core.values.forms import Fields
from app.core.values.lengths import VOLUME, length_meanings, parse_value, say_meaning
from app.core.values.units import SCALES, NotANumber, parse_length, parse_number

HOSTILE = {
    "spaces": lambda n: "1" + " " * n + "x",
    "digits": lambda n: "9" * n,
    "slashes": lambda n: "1 / " * (n // 4) + "x",
    "slashes alone": lambda n: "/" * n,
    "signs": lambda n: "1+++" * (n // 4) + "x",
    "fractions": lambda n: "1/2 " * (n // 4) + "½",
    "units": lambda n: "mm" * (n // 2) + '"',
    "separators": lambda n: "1,.'" * (n // 4),
}
PARSERS = {
    "number": parse_number,
    "length": lambda text: parse_length(text, SCALES["glass_half_mm"]),
    "volume": lambda text: parse_value(text, VOLUME),
    "line": lambda text: spread_line(text, ()),
    "meaning": lambda text: say_meaning(text, SCALES["tip_mm"]),
    "meanings": lambda text: length_meanings({"table_length": text}, SCALES["bore_mm"]),
    "dials": lambda text: fill_dials({"dial_left": text}),
    "date": lambda text: Fields({"d": text}).date("d"),
    "money": lambda text: Fields({"m": text}, currency="EUR").money_minor("m"),
    "count": lambda text: Fields({"c": text}).number_of("c"),
    "table": read_table,
    "cell": guard,
}


def _seconds(parse, text: str) -> float:
    best = float("inf")
    for _ in range(5):
        began = time.process_time()
        with contextlib.suppress(NotANumber, LineRefused):
            parse(text)
        best = min(best, time.process_time() - began)
    return best


@pytest.mark.parametrize("name", PARSERS)
@pytest.mark.parametrize("shape", HOSTILE)
def test_twice_the_letters_take_at_most_two_and_a_half_times_as_long(name, shape):
    once, twice = (_seconds(PARSERS[name], HOSTILE[shape](n)) for n in (40_000, 80_000))
    assert twice < 5e-3 or twice <= 2.5 * once, (once, twice)
