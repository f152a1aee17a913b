"""Times things side by side: in turns, in one process, best of three rounds.

A round calls every contestant in turn, many times, and takes each one's median; of three rounds
the best median counts. So a machine that is slow for a while is slow for all of them. Beside the
clock on the wall the processor's time is kept: other work on the machine lengthens it least, and
where the two ratios differ much the machine was busy.
"""

import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf

ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Timing:
    """Best median of three rounds, in seconds: by the clock and of processor time."""

    wall_s: float
    cpu_s: float
    rounds_wall_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table: what was timed, beside what, and the most the ratio may be.

    With `at_least` the ratio is how many times faster we are, and the limit the least it may be.
    """

    what: str
    beside: str
    ours: str
    other: str
    ratio: float
    limit: float
    cpu_ratio: float | None = None
    spread: tuple[float, float] | None = None
    at_least: bool = False

    @property
    def holds(self) -> bool:
        """Whether the limit is kept."""
        return self.ratio >= self.limit if self.at_least else self.ratio <= self.limit


def time_in_turns(
    runs: Mapping[str, Callable[[], object]], times: int = 15, rounds: int = ROUNDS
) -> dict[str, Timing]:
    """Call each in turn `times` times a round; every contestant goes first equally often."""
    names = list(runs)
    for name in names:
        runs[name]()
    walls: dict[str, list[float]] = {name: [] for name in names}
    cpus: dict[str, list[float]] = {name: [] for name in names}
    for _ in range(rounds):
        wall: dict[str, list[float]] = {name: [] for name in names}
        cpu: dict[str, list[float]] = {name: [] for name in names}
        for turn in range(times):
            at = turn % len(names)
            for name in names[at:] + names[:at]:
                began, worked = time.perf_counter(), time.process_time()
                runs[name]()
                cpu[name].append(time.process_time() - worked)
                wall[name].append(time.perf_counter() - began)
        for name in names:
            walls[name].append(statistics.median(wall[name]))
            cpus[name].append(statistics.median(cpu[name]))
    return {name: Timing(min(walls[name]), min(cpus[name]), tuple(walls[name])) for name in names}


def compare(what: str, beside: str, ours: Timing, other: Timing, limit: float) -> Row:
    """Make a line of the table from two timings."""
    by_round = [a / b for a, b in zip(ours.rounds_wall_s, other.rounds_wall_s, strict=True)]
    return Row(
        what,
        beside,
        say_time(ours.wall_s),
        say_time(other.wall_s),
        ours.wall_s / other.wall_s,
        limit,
        ours.cpu_s / other.cpu_s,
        (min(by_round), max(by_round)),
    )


def say_time(seconds: float) -> str:
    """Write a time with the unit that suits it."""
    return f"{seconds:.2f} s" if seconds >= 1.0 else f"{1e3 * seconds:.2f} ms"


def print_rows(rows: list[Row]) -> None:
    """Print the table as Markdown, as it stands in DEVELOPERS.md."""
    print("| what | beside | ours | other | ratio | limit | CPU ratio | rounds | |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for row in rows:
        sign = "≥" if row.at_least else "≤"
        limit = f"{sign} {row.limit:g}" if 0 < row.limit < inf else ""
        cpu = f"{row.cpu_ratio:.2f}" if row.cpu_ratio is not None else ""
        spread = f"{row.spread[0]:.2f} to {row.spread[1]:.2f}" if row.spread else ""
        print(
            f"| {row.what} | {row.beside} | {row.ours} | {row.other} | {row.ratio:.2f} "
            f"| {limit} | {cpu} | {spread} | {'' if row.holds else 'not held'} |"
        )
