"""What cured it: for each complaint the changes made, and how often it was better afterwards.

A share is said with Wilson's limits and only from `LEAST_CASES` cases on; that a change did more
than going without it, only by Fisher's exact test over all rows that are said (Holm's steps).
Beside it, whether players feel what the closing effort says, by a rank correlation.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.core.compare.differences import ReadSet
from app.core.compare.effort import EffortRatio, compare_efforts
from app.core.compare.effort_words import ALIKE, EASIER, HARDER, SUSPECT, judge_effort
from app.core.facing.analysis import MalformedReading

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
    pairs = [
        (name, _count(change, by_complaint[name]))
        for name in complaints
        for change in sorted({label for case in by_complaint[name] for label in case.changes})
    ]
    cures = _step([cure for _, cure in pairs])
    rows: dict[str, list[Cure]] = {name: [] for name in complaints}
    for (name, _), cure in zip(pairs, cures, strict=True):
        rows[name].append(cure)
    return [(name, tuple(sorted(rows[name], key=lambda cure: -cure.cases))) for name in complaints]


def _count(change: str, cases: Sequence[Case]) -> Cure:
    made = [case.outcome == "better" for case in cases if change in case.changes]
    other = [case.outcome == "better" for case in cases if change not in case.changes]
    counts = sum(made), len(made), sum(other), len(other)
    if len(made) < LEAST_CASES:
        return Cure(change, *counts)
    p = fisher_p(*counts) if len(other) >= LEAST_CASES else None
    return Cure(change, *counts, *wilson_limits(*counts[:2]), p)


def _step(cures: Sequence[Cure]) -> list[Cure]:
    """Let be said what Holm's steps allow: the least p against LEVEL / all, and so on."""
    stepped = list(cures)
    judged = sorted((cure.p, at) for at, cure in enumerate(cures) if cure.p is not None)
    for place, (p, at) in enumerate(judged):
        if p > LEVEL / (len(judged) - place):
            break
        cure = cures[at]
        more = cure.better * cure.other_cases > cure.other_better * cure.cases
        stepped[at] = replace(cure, told=1 if more else -1)
    return stepped


FELT = (EASIER, ALIKE, HARDER)
ORDERS = 9999  # drawn where there are more; under eight cases every order is looked at


@dataclass(frozen=True, slots=True)
class Felt:
    """A job read before and after whose player said how it blows beside before: one of `FELT`."""

    said: str
    kind: str
    before: ReadSet
    after: ReadSet


@dataclass(frozen=True, slots=True)
class Agreement:
    """What players said (`FELT`) by what was worked out, as counts of jobs.

    `rho` is the rank correlation with the ratio, `p` how rarely chance makes so much of it either
    way; None below `LEAST_CASES`. `told` is +1 or -1 where they may be said to go together or
    against each other, else 0.
    """

    counts: dict[tuple[str, str], int]
    cases: int
    rho: float | None = None
    p: float | None = None
    told: int = 0


def rank_correlation(said: Sequence[float], ratios: Sequence[float]) -> tuple[float, float]:
    """Return Spearman's rank correlation, ties by their mean rank, and its two-sided probability.

    That is of all orders (a permutation test, scipy), as tables for many cases don't hold for few.
    """
    from scipy.stats import permutation_test, rankdata

    ranks = [rankdata(values) - (len(values) + 1) / 2.0 for values in (said, ratios)]
    scale = float(np.sqrt(np.prod([row @ row for row in ranks])))
    if not scale:
        return 0.0, 1.0
    test = permutation_test(
        ranks[:1], lambda row, axis=-1: (row * ranks[1]).sum(axis=axis),
        permutation_type="pairings", vectorized=True, n_resamples=ORDERS, rng=0,
    )  # fmt: skip
    return float(test.statistic) / scale, float(test.pvalue)


def hold_beside(jobs: Iterable[Felt]) -> Agreement:
    """Hold what players said beside the closing effort; where none is told, the job is left out."""
    counts: dict[tuple[str, str], int] = defaultdict(int)
    pairs: list[tuple[float, float]] = []
    for job in jobs:
        effort = _work_out(job)
        if effort is not None:
            counts[judge_effort(effort), job.said] += 1
            pairs.append((float(FELT.index(job.said)), effort.ratio))
    if len(pairs) < LEAST_CASES:
        return Agreement(dict(counts), len(pairs))
    rho, p = rank_correlation(*zip(*pairs, strict=True))
    sign = 0 if p > LEVEL else 1 if rho > 0.0 else -1
    return Agreement(dict(counts), len(pairs), rho, p, sign)


def _work_out(job: Felt) -> EffortRatio | None:
    try:
        effort = compare_efforts(job.before, job.after, job.kind)
    except MalformedReading:
        return None
    return None if judge_effort(effort) == SUSPECT else effort
