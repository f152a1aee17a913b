"""How long the scale book takes to make: 100,000 jobs through bulk inserts."""

from tests.benchmarks.books import LARGE, make_book
from tests.benchmarks.measuring import Row, say_time

MOST_S = 180.0


def run() -> list[Row]:
    """Make the large book anew."""
    took = make_book(LARGE)
    what = "scale book: 100,000 jobs, 60,000 pieces, 400,000 reading sets"
    return [Row(what, "3 minutes", say_time(took), say_time(MOST_S), took / MOST_S, 1.0)]
