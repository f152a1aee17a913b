"""How fast material comes off, learnt from the shop's own passes, and how far to trust it.

A pair is what some strokes took, told by the readings before and after. Pairs of one kind of
cut, one abrasive and grit, and one material are joined by a line through the origin, since no
strokes take nothing. Whether pairs scatter by a fixed amount (the gauges) or in proportion
(paper, pressure, hand) cannot be told from a few of them, so both are worked out and the more
cautious one is heeded. Material does not come back: the proposal aims at 70 % of what is
left, and never at more strokes than even a fast pass could bear.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, inf, isfinite

from app.core.plan.plan_words import tell_length
from app.core.values.passes import grade_of
from app.core.values.regression import OriginFit, fit_origin, student_quantile

# under three pairs a line has at most one degree of freedom: its interval is idle
FEWEST_PAIRS = 3
AIM = 0.70
LEVEL = 0.95
# no pass is longer than this; it also keeps an absurdly slow rate from asking for more
MOST_STROKES = 10_000


@dataclass(frozen=True, slots=True)
class RemovalKind:
    """What must agree before two passes can be compared."""

    cut: str
    abrasive: str
    grit: str
    material: str


@dataclass(frozen=True, slots=True)
class RemovalPair:
    """Strokes and the depth they took in mm, by the readings around them; and whose job.

    The depth may come out as nothing or less where the gauges could not tell: such a pair
    still counts, because leaving it out would make the rate look faster than it is.
    """

    kind: RemovalKind
    strokes: float
    depth_mm: float
    job: str = ""


@dataclass(frozen=True, slots=True)
class RemovalRate:
    """What the pairs of one kind say.

    `known` is False under three pairs, or when they show no removal; `words` says which.
    `mm_per_stroke` and its standard uncertainty come from the line with fixed scatter;
    `fixed` and `proportional` are the two lines the proposal is held by.
    """

    kind: RemovalKind
    pairs: tuple[RemovalPair, ...]
    known: bool
    mm_per_stroke: float | None
    mm_per_stroke_u: float | None
    fixed: OriginFit | None
    proportional: OriginFit | None
    most_strokes: float
    words: str


@dataclass(frozen=True, slots=True)
class DepthForecast:
    """What a number of strokes will take, in mm: the middle and the interval's two ends."""

    strokes: float
    expected_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True, slots=True)
class StrokeProposal:
    """What to do next. `strokes` is 0 unless known.

    `decision` is "go on", "careful", "stop", "past" or "unknown".

    `forecast` is that of the proposed strokes, or of one stroke where even that could overshoot.
    """

    decision: str
    strokes: int
    left_mm: float
    left_u_mm: float
    forecast: DepthForecast | None
    words: str


def make_kind(cut: str, abrasive: str, grit: str, material: str) -> RemovalKind:
    """Build a kind in which letter case makes no difference, nor how a grade is written."""
    cut, abrasive, material = (
        " ".join(text.split()).casefold() for text in (cut, abrasive, material)
    )
    return RemovalKind(cut, abrasive, grade_of(grit), material)


def group_pairs(pairs: Iterable[RemovalPair]) -> dict[RemovalKind, tuple[RemovalPair, ...]]:
    """Sort pairs by kind, keeping their order."""
    groups: dict[RemovalKind, list[RemovalPair]] = {}
    for pair in pairs:
        groups.setdefault(pair.kind, []).append(pair)
    return {kind: tuple(group) for kind, group in groups.items()}


def learn_rate(kind: RemovalKind, pairs: Sequence[RemovalPair]) -> RemovalRate:
    """Learn depth per stroke from the pairs of this kind, leaving others aside.

    depth = rate · strokes, weights 1 (fixed scatter) and 1/strokes² (proportional scatter).
    Raises ValueError, in words, for a pair without strokes or without a finite depth.
    """
    own = tuple(pair for pair in pairs if pair.kind == kind)
    for pair in own:
        if not (isfinite(pair.strokes) and pair.strokes > 0):
            raise ValueError(f"A pass needs its number of strokes, more than zero{_of(pair)}.")
        if not isfinite(pair.depth_mm):
            raise ValueError(f"A pass needs a depth that is a number{_of(pair)}.")
    most = max((pair.strokes for pair in own), default=0.0)
    if len(own) < FEWEST_PAIRS:
        words = (
            f"Not known yet: {_count(len(own))} of this kind, and at least {FEWEST_PAIRS} "
            "passes with readings before and after are needed."
        )
        return RemovalRate(kind, own, False, None, None, None, None, most, words)
    strokes, depths = [pair.strokes for pair in own], [pair.depth_mm for pair in own]
    fixed = fit_origin(strokes, depths)
    rates = [depth / count for depth, count in zip(depths, strokes, strict=True)]
    proportional = fit_origin([1.0] * len(own), rates)
    known = fixed.slope > 0 and proportional.slope > 0
    words = (
        f"{fixed.slope * 1000:.2f} µm a stroke, from {len(own)} passes."
        if known
        else "Not known yet: these passes show no removal that the gauges can tell."
    )
    return RemovalRate(
        kind=kind,
        pairs=own,
        known=known,
        mm_per_stroke=fixed.slope if known else None,
        mm_per_stroke_u=fixed.slope_u if known else None,
        fixed=fixed,
        proportional=proportional,
        most_strokes=most,
        words=words,
    )


def forecast_depth(
    rate: RemovalRate, strokes: float, left_u_mm: float = 0.0, level: float = LEVEL
) -> DepthForecast:
    """Tell what `strokes` will take: rate · n, and the wider of the two prediction intervals.

    Fixed scatter: ± t·√(u²n² + s² + u_left²); proportional: ± t·√(n²(u² + s²) + u_left²);
    t for the degrees of freedom of the sum (Welch–Satterthwaite, GUM G.4.1), since what is
    left is told by the gauges and not learnt from the pairs.
    Raises ValueError while the rate is not known.
    """
    if not rate.known or rate.fixed is None or rate.proportional is None:
        raise ValueError(rate.words)
    ends: list[tuple[float, float]] = []
    for line, grows in ((rate.fixed, False), (rate.proportional, True)):
        # three pairs or more: the line has its uncertainty and its scatter
        slope_u, scatter = line.slope_u or 0.0, line.residual_sd or 0.0
        learnt = hypot(slope_u * strokes, scatter * (strokes if grows else 1.0))
        half = _expand(learnt, line.t_dof, left_u_mm, level)
        ends.append((line.slope * strokes - half, line.slope * strokes + half))
    return DepthForecast(
        strokes=strokes,
        expected_mm=rate.fixed.slope * strokes,
        low_mm=min(low for low, _ in ends),
        high_mm=max(high for _, high in ends),
    )


def propose_strokes(
    rate: RemovalRate,
    left_mm: float,
    left_u_mm: float = 0.0,
    tolerance_mm: float = 0.0,
    usual_strokes: float | None = None,
) -> StrokeProposal:
    """Propose strokes for `left_mm` still to come off, known to `left_u_mm` (k = 1).

    Strokes reach 70 % of what is left, and the interval's high end stays within it. "careful"
    is said when not even one stroke is safe, or when `usual_strokes` (as many as last time)
    could pass the far edge of the tolerance. Raises ValueError for impossible numbers.
    """
    _check_left(left_mm, left_u_mm, tolerance_mm, usual_strokes)
    if left_mm < -tolerance_mm:
        words = f"Stop: {tell_length(-left_mm)} past the target. This cut cannot put it back."
        return StrokeProposal("past", 0, left_mm, left_u_mm, None, words)
    if left_mm <= tolerance_mm:
        words = "Stop: within tolerance."
        return StrokeProposal("stop", 0, left_mm, left_u_mm, None, words)
    if not rate.known:
        words = f"{rate.words} Take a few strokes and read again."
        return StrokeProposal("unknown", 0, left_mm, left_u_mm, None, words)
    strokes = _find_safe_strokes(rate, left_mm, left_u_mm)
    if strokes < 1:
        words = (
            "The next pass could overshoot: with what is known, not even one stroke is surely "
            "safe. Read again, or take single light strokes on a finer paper."
        )
        forecast = forecast_depth(rate, 1.0, left_u_mm)
        return StrokeProposal("careful", 0, left_mm, left_u_mm, forecast, words)
    forecast = forecast_depth(rate, strokes, left_u_mm)
    words = _describe_proposal(rate, strokes, left_mm, forecast)
    decision = "go on"
    if usual_strokes is not None and usual_strokes > strokes:
        usual = forecast_depth(rate, usual_strokes, left_u_mm)
        if usual.high_mm > left_mm + tolerance_mm:
            decision = "careful"
            words = f"{usual_strokes:g} strokes as last time could overshoot. {words}"
    return StrokeProposal(decision, strokes, left_mm, left_u_mm, forecast, words)


def _describe_proposal(
    rate: RemovalRate, strokes: int, left_mm: float, forecast: DepthForecast
) -> str:
    noun = "stroke" if strokes == 1 else "strokes"
    words = (
        f"{strokes} {noun}: expect {tell_length(forecast.expected_mm)} of the "
        f"{tell_length(left_mm)} left, at most {tell_length(max(forecast.high_mm, 0.0))}. "
        "Then read again."
    )
    if strokes > rate.most_strokes:
        words += f" That is more than any pass so far ({rate.most_strokes:g}): stop halfway."
    return words


def _expand(learnt_mm: float, learnt_dof: float, known_mm: float, level: float) -> float:
    """Expand the root sum of squares of a learnt part and one of known uncertainty."""
    if learnt_mm < 1e-9:
        return student_quantile(0.5 + level / 2, inf) * known_mm
    share = (learnt_mm**2 + known_mm**2) / learnt_mm**2
    return student_quantile(0.5 + level / 2, learnt_dof * share**2) * hypot(learnt_mm, known_mm)


def _find_safe_strokes(rate: RemovalRate, left_mm: float, left_u_mm: float) -> int:
    """Find the most whole strokes that reach 70 % and whose interval stays within what is left."""
    faster = max(line.slope for line in (rate.fixed, rate.proportional) if line is not None)
    low, high = 0, int(min(MOST_STROKES, AIM * left_mm / faster))
    # the high end only grows with strokes, so halving finds the last safe number
    while low < high:
        middle = (low + high + 1) // 2
        if forecast_depth(rate, middle, left_u_mm).high_mm <= left_mm:
            low = middle
        else:
            high = middle - 1
    return low


def _check_left(
    left_mm: float, left_u_mm: float, tolerance_mm: float, usual_strokes: float | None
) -> None:
    if not isfinite(left_mm):
        raise ValueError("What is left must be a number.")
    if not (isfinite(left_u_mm) and left_u_mm >= 0):
        raise ValueError("The uncertainty of what is left must be zero or more.")
    if not (isfinite(tolerance_mm) and tolerance_mm >= 0):
        raise ValueError("A tolerance must be zero or more.")
    if usual_strokes is not None and not (isfinite(usual_strokes) and usual_strokes > 0):
        raise ValueError("The strokes of the last pass must be more than zero.")


def _of(pair: RemovalPair) -> str:
    return f" (job {pair.job})" if pair.job else ""


def _count(number: int) -> str:
    return {0: "no pass", 1: "one pass", 2: "two passes"}.get(number, f"{number} passes")
