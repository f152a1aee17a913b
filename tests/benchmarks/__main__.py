"""`python -m tests.benchmarks [NAME ...]` runs the benchmarks and prints their table.

Each is a module with a `run()` that gives the table's lines. Without names all are run.
"""

import os
import sys
import time
from importlib import import_module

from tests.benchmarks.measuring import print_rows

BENCHMARKS = {
    "scale": "bench_scale",
    "pages": "bench_pages",
    "look-up": "bench_look_up",
    "fits": "bench_fits",
    "pictures": "bench_pictures",
    "start": "bench_start",
}


def main(names: list[str]) -> int:
    """Run the benchmarks named, or all; the exit code says whether every limit was kept."""
    unknown = [name for name in names if name not in BENCHMARKS]
    if unknown:
        print(f"There is no benchmark {unknown[0]}. Choose from {', '.join(BENCHMARKS)}.")
        return 2
    rows = []
    for name in names or BENCHMARKS:
        began = time.perf_counter()
        rows += import_module(f"tests.benchmarks.{BENCHMARKS[name]}").run()
        print(f"{name}: {time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
    load = os.getloadavg()
    print(f"{os.cpu_count()} processors, load {load[0]:.1f} at the end\n")
    print_rows(rows)
    return 0 if all(row.holds for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
