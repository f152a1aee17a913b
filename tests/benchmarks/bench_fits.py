"""How fast the analysis is, beside the same fits by `scipy.optimize.curve_fit` in a loop.

Run: python -m tests.benchmarks fits

Both take the same invented facings, in turns, in one process; each figure is the best of
several turns. One set is both rails and their mean, each with six curves, their uncertainties,
χ², p and the choice. Ours adds the tip where the curves point, the facing length, evenness, and
where all curves are refused the reading to take again.

Two loops are timed. The first does the whole job as it must be done without knowing the answer
(`textbook_fits.analyse_textbook`). The second is given everything: it makes only the fits that
these readings determine, once each, from a guess 2 % beside the answer, with the answer's weights.
"""

import time
import warnings
from collections.abc import Callable

import numpy as np
from scipy.optimize import OptimizeWarning, curve_fit

from app.core.facing.analysis import FacingAnalysis, analyse_facing, analyse_many
from app.core.facing.curves import CURVES
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from tests.benchmarks.measuring import Row, print_rows, say_time
from tests.benchmarks.textbook_fits import FORMULAS, analyse_textbook, fit_textbook

BLADES_MM = 25.4 * np.array([0.0015, 0.005, 0.010, 0.016, 0.024, 0.034, 0.050])
USUAL = Uncertainties()
SETS, SAMPLE, TURNS = 10_000, 30, 5
ONE_LIMIT, MANY_LIMIT = 10.0, 50.0

Rail = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def invent_facings(count: int, seed: int) -> list[FacingReadings]:
    """Invent facings of evenly changing curvature, no two alike, read with the usual errors."""
    rng = np.random.default_rng(seed)
    curve = CURVES["easing"]
    found = []
    for _ in range(count):
        truth = {
            "break_mm": rng.uniform(22.0, 26.0),
            "curvature_per_mm": 1.0 / rng.uniform(140.0, 220.0),
            "curvature_rate_per_mm2": rng.uniform(-5e-5, 1e-4),
        }
        rails = []
        for _ in range(2):
            felt = BLADES_MM + USUAL.gap_mm * rng.standard_normal(len(BLADES_MM))
            read = curve.position_of(truth, felt) + USUAL.position_mm * rng.standard_normal(
                len(BLADES_MM)
            )
            rails.append(tuple(map(BladeStop, BLADES_MM.tolist(), np.maximum(read, 0.0).tolist())))
        tip = float(curve.gap_at(truth, 0.0)) + USUAL.tip_mm * rng.standard_normal()
        found.append(FacingReadings(rails[0], rails[1], tip))
    return found


def list_rails(analysis: FacingAnalysis) -> list[Rail]:
    """Lay out left, right and mean as the loop takes them."""
    rails = []
    for rail in (analysis.left, analysis.right, analysis.mean):
        assert rail is not None
        gap = np.array([stop.gap_mm for stop in rail.stops])
        position = np.array([stop.position_mm for stop in rail.stops])
        position_u = [stop.position_u_mm or USUAL.position_mm for stop in rail.stops]
        rails.append((gap, position, np.full(len(gap), USUAL.gap_mm), np.array(position_u)))
    return rails


def fit_knowing_the_answer(analysis: FacingAnalysis, rails: list[Rail]) -> int:
    """Make each fit that is determined with one call; give how many there were."""
    count = 0
    for rail, (gap, position, _, _) in zip(
        (analysis.left, analysis.right, analysis.mean), rails, strict=True
    ):
        assert rail is not None
        for fit in rail.fits:
            guess = np.array(list(fit.parameters.values()))
            guess *= np.where(np.arange(len(guess)) % 2 == 0, 1.02, 0.98)
            try:
                curve_fit(
                    FORMULAS[fit.curve], gap, position, p0=guess,
                    sigma=np.array(fit.residual_u), absolute_sigma=True, maxfev=200,
                )  # fmt: skip
            except RuntimeError:
                continue
            count += 1
    return count


def largest_difference(analysis: FacingAnalysis, rails: list[Rail]) -> float:
    """Compare parameters with `curve_fit` at full precision, relative to their size.

    Only where these readings determine them to a fifth; elsewhere there is nothing to agree on.
    """
    worst = 0.0
    for rail, told in zip((analysis.left, analysis.right, analysis.mean), rails, strict=True):
        assert rail is not None
        for fit in rail.fits:
            ours, u = np.array(list(fit.parameters.values())), list(fit.uncertainties.values())
            if np.all(u < 0.2 * np.abs(ours)):
                theirs, _, _ = fit_textbook(
                    fit.curve, *told, ours, precision=1e-14, settled=1e-9, passes=40
                )
                worst = max(worst, float(np.max(np.abs(ours / theirs - 1.0))))
    return worst


def best_time(run: Callable[[], object]) -> float:
    """Time one turn in processor time, which other work on the machine lengthens least."""
    start = time.process_time()
    run()
    return time.process_time() - start


def run() -> list[Row]:
    """Time one set at a time and many at once, in turns with both loops."""
    warnings.simplefilter("ignore", OptimizeWarning)
    warnings.simplefilter("ignore", RuntimeWarning)
    facings = invent_facings(SETS, seed=3)
    sample = facings[:SAMPLE]
    analyses = [analyse_facing(facing, tip="out") for facing in sample]
    rails = [list_rails(analysis) for analysis in analyses]
    known = list(zip(analyses, rails, strict=True))
    whole = given = one = many = built = np.inf
    for _ in range(TURNS):
        whole = min(whole, best_time(lambda: [analyse_textbook(each) for each in rails]) / SAMPLE)
        one = min(one, best_time(lambda: [analyse_facing(f, tip="out") for f in sample]) / SAMPLE)
        given = min(given, best_time(lambda: [fit_knowing_the_answer(*x) for x in known]) / SAMPLE)
    for _ in range(2):
        many = min(many, best_time(lambda: analyse_many(facings, tip="out")) / SETS)
        built = min(built, best_time(lambda: list(analyse_many(facings[:2000], tip="out"))) / 2000)
    worst = max(largest_difference(*each) for each in known)
    loop = "curve_fit in a loop, the whole job"
    return [
        _faster("one set: both rails and mean, six curves", loop, one, whole, ONE_LIMIT),
        _faster("10,000 sets at once, a set", loop, many, whole, MANY_LIMIT),
        _faster("10,000 sets at once, every value built", loop, built, whole, 0.0),
        _faster("one set", "only the fits that are determined, given guess and weights",
                one, given, 0.0),
        Row("largest relative difference of a determined parameter", "curve_fit", f"{worst:.1e}",
            "1e-6", worst / 1e-6, 1.0),
    ]  # fmt: skip


def _faster(what: str, beside: str, ours: float, other: float, least: float) -> Row:
    return Row(what, beside, say_time(ours), say_time(other), other / ours, least, at_least=True)


if __name__ == "__main__":
    print_rows(run())
