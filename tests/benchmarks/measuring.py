"""Times things side by side: in turns, best of three rounds.

A round calls every contestant in turn, many times, and takes each one's median; of three rounds
the best median counts. So a machine that is slow for a while is slow for all of them.
"""

import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf

ROUNDS, TIMES = 3, 15


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table: what was timed, beside what, and the most the ratio may be."""

    what: str
    beside: str
    ours: str
    other: str
    ratio: float
    limit: float = inf
    rounds: tuple[float, float] | None = None

    @property
    def holds(self) -> bool:
        """Whether the limit is kept."""
        return self.ratio <= self.limit


def time_in_turns(
    runs: Mapping[str, Callable[[], object]], times: int = TIMES, rounds: int = ROUNDS
) -> dict[str, list[float]]:
    """List each one's median of every round, in seconds; each goes first equally often.

    A run that gives a mapping of moments to seconds is listed by each as "name: moment".
    """
    names = list(runs)
    medians: dict[str, list[float]] = {}
    for run in runs.values():
        run()
    for _ in range(rounds):
        taken: dict[str, list[float]] = {}
        for turn in range(times):
            at = turn % len(names)
            for name in names[at:] + names[:at]:
                began = time.perf_counter()
                moments = runs[name]()
                took = time.perf_counter() - began
                if isinstance(moments, Mapping):
                    for moment, seconds in moments.items():
                        taken.setdefault(f"{name}: {moment}", []).append(seconds)
                else:
                    taken.setdefault(name, []).append(took)
        for name, seconds in taken.items():
            medians.setdefault(name, []).append(statistics.median(seconds))
    return medians


def compare(
    what: str, beside: str, ours: list[float], other: list[float], limit: float = inf
) -> Row:
    """Make a line of the table from two contestants' rounds."""
    by_round = [a / b for a, b in zip(ours, other, strict=True)]
    return Row(
        what, beside, say_time(min(ours)), say_time(min(other)), min(ours) / min(other), limit,
        (min(by_round), max(by_round)),
    )  # fmt: skip


def say_time(seconds: float) -> str:
    """Write a time with the unit that suits it."""
    return f"{seconds:.2f} s" if seconds >= 1.0 else f"{1e3 * seconds:.2f} ms"


def write_rows(rows: list[Row]) -> str:
    """Write the table as Markdown, as it stands in DEVELOPERS.md."""
    lines = [
        "| what | beside | ours | other | ratio | limit | rounds | |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        limit = f"≤ {row.limit:g}" if row.limit < inf else ""
        rounds = f"{row.rounds[0]:.2f} to {row.rounds[1]:.2f}" if row.rounds else ""
        lines.append(
            f"| {row.what} | {row.beside} | {row.ours} | {row.other} | {row.ratio:.2f} "
            f"| {limit} | {rounds} | {'' if row.holds else '**not held**'} |"
        )
    return "\n".join(lines) + "\n"
