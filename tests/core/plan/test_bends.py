"""The cut with the fewest bends: by brute force, by the whole programme, and in known shapes."""

from itertools import product

import numpy as np
import pytest
from scipy.optimize import linprog

from app.core.plan.bends import bend_least


def count_bends(s: np.ndarray, cut: np.ndarray) -> float:
    return float(np.abs(np.diff(np.diff(cut) / np.diff(s))).sum())


def test_no_cut_on_a_grid_of_depths_bends_less_in_sixty_small_cases() -> None:
    rng = np.random.default_rng(3)
    s = np.arange(6) * 1.0
    for _ in range(60):
        middle = rng.integers(0, 6, 6)
        low, high = np.maximum(0, middle - 1), middle + 1
        best = min(
            count_bends(s, np.array(cut, dtype=float))
            for cut in product(*(range(a, b + 1) for a, b in zip(low, high, strict=True)))
        )
        cut = bend_least(s, 0.01 * low, 0.01 * high)
        assert (cut >= 0.01 * low).all()
        assert (cut <= 0.01 * high).all()
        assert count_bends(s, cut) <= 0.01 * best + 1e-9


def test_the_few_stations_it_asks_give_the_best_over_all_of_them() -> None:
    rng = np.random.default_rng(4)
    s = np.linspace(0.0, 18.0, 121)
    for _ in range(12):
        wanted = np.maximum(0.0, 0.08 * (1 - s / 17) + 0.01 * np.sin(s * rng.uniform(0.3, 1.5)))
        low, high = np.maximum(0.0, wanted - 0.008), np.where(s < 17, wanted + 0.008, 0.0)
        low = np.minimum(low, high)
        cut = bend_least(s, low, high)
        assert (cut >= low).all()
        assert (cut <= high).all()
        second = np.diff(np.eye(121), n=2, axis=0) / (s[1] - s[0])
        whole = linprog(
            c=[*np.zeros(121), *np.ones(119)],
            A_ub=np.block([[second, -np.eye(119)], [-second, -np.eye(119)]]),
            b_ub=np.zeros(238),
            bounds=[*zip(low, high, strict=True), *[(0, None)] * 119],
        )
        assert count_bends(s, cut) == pytest.approx(whole.fun, abs=2e-5)


def test_of_straight_cuts_it_takes_the_least() -> None:
    s = np.linspace(0.0, 10.0, 101)
    low, high = np.full(101, 0.02), np.full(101, 0.05)
    assert bend_least(s, low, high) == pytest.approx(low, abs=1e-6)


@pytest.mark.parametrize("high", [0.0, 0.03])
def test_stations_as_close_as_rounding_do_no_harm(high: float) -> None:
    s = np.sort(np.concatenate([np.linspace(0, 10, 11), [3.0 + 1e-13, 5.0 - 1e-9, 9.999]]))
    most = np.where(s < 8, high, 0.0)
    cut = bend_least(s, np.zeros_like(s), most)
    assert (cut <= most).all()
    assert cut == pytest.approx(0.0, abs=1e-9)
