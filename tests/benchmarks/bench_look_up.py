"""The look-up box while a word is typed, beside its own queries in raw `sqlite3`.

As for pages: the reference route runs the SQL that our route ran and prints the same template.
"""

from tests.benchmarks.asking import Asker
from tests.benchmarks.bench_pages import REFERENCE_LIMIT, add_reference, asking, noting
from tests.benchmarks.books import LARGE, application
from tests.benchmarks.measuring import Row, compare, time_in_turns

TYPED = ("a", "am", "ams", "amsel", "amsel kes", "zzz", "0555")


def run() -> list[Row]:
    """Time the first results for a word as it grows, two words, none found, a telephone."""
    asker, rows = Asker(), []
    with application(LARGE) as app:
        for at, typed in enumerate(TYPED):
            address = f"/look-up/results?q={typed.replace(' ', '+')}"
            asker.get(app, address)
            with noting(app) as noted:
                asker.get(app, address)
            add_reference(app, f"/reference/look-up/{at}", noted)
            timings = time_in_turns(
                {
                    "ours": asking(asker, app, address),
                    "reference": asking(asker, app, f"/reference/look-up/{at}"),
                }
            )
            beside = f"{len(noted.statements)} queries in sqlite3, same template"
            rows.append(
                compare(
                    f"look-up, “{typed}” typed", beside,
                    timings["ours"], timings["reference"], REFERENCE_LIMIT,
                )
            )  # fmt: skip
    asker.close()
    return rows
