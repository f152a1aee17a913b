"""What cured it: for each complaint the changes made, and how often it was better afterwards.

A share is said with Wilson's limits and only from `LEAST_CASES` cases on; that a change did more
than going without it, only by Fisher's exact test over all rows that are said (Holm's steps).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

LEAST_CASES = 5
LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Case:
    """One complaint of one job: its outcome, and the labels of what was done."""

    complaint: str
    outcome: str
    changes: frozenset[str]


@dataclass(frozen=True, slots=True)
class Cure:
    """One change against one complaint: better `better` times of `cases`, and without it.

    `low` and `high` are Wilson's 95 % limits of the share; None below `LEAST_CASES`. `p` is
    Fisher's two-sided probability beside the cases without the change, None where there are too
    few of either. `told` is +1 or -1 where Holm's steps let it be said, else 0.
    """

    change: str
    better: int
    cases: int
    other_better: int
    other_cases: int
    low: float | None = None
    high: float | None = None
    p: float | None = None
    told: int = 0


def wilson_limits(better: int, cases: int) -> tuple[float, float]:
    """The 95 % limits of a share by Wilson's score interval (scipy), 0 to 1."""
    from scipy.stats import binomtest  # slow to load, and asked for by one page

    limits = binomtest(better, cases).proportion_ci(0.95, method="wilson")
    return float(limits.low), float(limits.high)


def fisher_p(better: int, cases: int, other_better: int, other_cases: int) -> float:
    """The two-sided probability of Fisher's exact test (scipy)."""
    from scipy.stats import fisher_exact

    table = [[better, cases - better], [other_better, other_cases - other_better]]
    return float(fisher_exact(np.array(table)).pvalue)


def tell_cures(cases: Iterable[Case]) -> list[tuple[str, tuple[Cure, ...]]]:
    """Each complaint, most frequent first, with the changes made, most often made first."""
    by_complaint: dict[str, list[Case]] = defaultdict(list)
    for case in cases:
        by_complaint[case.complaint].append(case)
    complaints = sorted(by_complaint, key=lambda name: (-len(by_complaint[name]), name))
    found = [
        (name, _count(change, by_complaint[name]))
        for name in complaints
        for change in sorted({one for case in by_complaint[name] for one in case.changes})
    ]
    told = _step([cure for _, cure in found])
    rows: dict[str, list[Cure]] = {name: [] for name in complaints}
    for (name, _), cure in zip(found, told, strict=True):
        rows[name].append(cure)
    return [(name, tuple(sorted(rows[name], key=lambda one: -one.cases))) for name in complaints]


def _count(change: str, cases: Sequence[Case]) -> Cure:
    made = [one.outcome == "better" for one in cases if change in one.changes]
    other = [one.outcome == "better" for one in cases if change not in one.changes]
    counts = sum(made), len(made), sum(other), len(other)
    if len(made) < LEAST_CASES:
        return Cure(change, *counts)
    p = fisher_p(*counts) if len(other) >= LEAST_CASES else None
    return Cure(change, *counts, *wilson_limits(*counts[:2]), p)


def _step(cures: Sequence[Cure]) -> list[Cure]:
    """Let be said what Holm's steps allow: the least p against LEVEL / all, and so on."""
    told = list(cures)
    judged = sorted((one.p, at) for at, one in enumerate(cures) if one.p is not None)
    for place, (p, at) in enumerate(judged):
        if p > LEVEL / (len(judged) - place):
            break
        one = cures[at]
        more = one.better * one.other_cases > one.other_better * one.cases
        told[at] = replace(one, told=1 if more else -1)
    return told
