"""`python -m tests.benchmarks [NAME ...]` runs the benchmarks and prints their table.

Each is a module with a `run()` that gives the table's lines. Without names all are run; with
`--write` the table is put into DEVELOPERS.md.
"""

import os
import platform
import re
import sqlite3
import sys
import time
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from tests.benchmarks.measuring import write_rows

BENCHMARKS = {
    "scale": "bench_scale",
    "pages": "bench_pages",
    "browser": "bench_browser",
    "pictures": "bench_pictures",
    "effort": "bench_effort",
    "start": "bench_start",
    "load": "bench_load",
    "server": "bench_server",
}
DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
PLACE = re.compile(r"(?<=<!-- benchmarks -->\n).*(?=<!-- /benchmarks -->)", re.DOTALL)


def main(names: list[str]) -> int:
    """Run the benchmarks named, or all; the exit code says whether every limit was kept."""
    write = "--write" in names
    names = [name for name in names if name != "--write"]
    if unknown := [name for name in names if name not in BENCHMARKS]:
        print(f"There is no benchmark {unknown[0]}. Choose from {', '.join(BENCHMARKS)}.")
        return 2
    rows, busy = [], os.getloadavg()[0]
    for name in names or BENCHMARKS:
        began = time.perf_counter()
        rows += import_module(f"tests.benchmarks.{BENCHMARKS[name]}").run()
        print(f"{name}: {time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
    told = (
        f"Run of {datetime.now(UTC):%Y-%m-%d} on {os.cpu_count()} processors, load {busy:.1f} "
        f"before and {os.getloadavg()[0]:.1f} at the end (1 is the benchmark itself), "
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}.\n\n"
        f"{write_rows(rows)}"
    )
    print(told)
    if write:
        DEVELOPERS.write_text(PLACE.sub(lambda _: told, DEVELOPERS.read_text()))
    return 0 if all(row.holds for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
