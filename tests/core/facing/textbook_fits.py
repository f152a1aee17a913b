"""The same six fits by `scipy.optimize.curve_fit`, one at a time, from the textbook formulas.

Written apart from `app.core`, in the parameters people know, so that it can disagree with it.
The weights depend on the slope of the fitted curve, so `curve_fit` is called again until they
stand still.
"""

import numpy as np
from scipy.optimize import curve_fit


def arc(h, b, radius):
    return b - np.sqrt(2 * radius * h - h**2)


def parabola(h, b, c):
    return b - np.sqrt(h / c)


def ellipse(h, b, half_length, half_height):
    return b - half_length * np.sqrt(1 - (1 - h / half_height) ** 2)


def straight_tip(h, b, radius, straight_from):
    u = b - straight_from
    root = np.sqrt(radius**2 - u**2)
    join = radius - root
    return np.where(h <= join, arc(h, b, radius), b - u - (h - join) * root / u)


def easing(h, b, curvature, rate):
    u = np.sqrt(2 * h / curvature)
    for _ in range(6):
        u = u - (u**2 * curvature / 2 + u**3 * rate / 6 - h) / (u * curvature + u**2 * rate / 2)
    return b - u


def two_arcs(h, b, radius, tip_radius, join_at):
    sine = (b - join_at) / radius
    cosine = np.sqrt(1 - sine**2)
    join = radius * (1 - cosine)
    beyond = cosine - (h - join) / tip_radius
    tail = b - join_at + tip_radius * (np.sqrt(1 - beyond**2) - sine)
    return np.where(h <= join, arc(h, b, radius), b - tail)


FORMULAS = {
    "arc": arc,
    "parabola": parabola,
    "ellipse": ellipse,
    "straight_tip": straight_tip,
    "easing": easing,
    "two_arcs": two_arcs,
}


def weigh(formula, parameters, gap, gap_u, position_u):
    """Give the standard uncertainty of each position on this curve."""
    small = gap * 1e-4  # balances rounding (R − √…) against the cubic term
    slope = (formula(gap + small, *parameters) - formula(gap - small, *parameters)) / (2 * small)
    return np.hypot(position_u, slope * gap_u)


def fit_textbook(
    curve, gap, position, gap_u, position_u, start, *, precision=1.49e-8, settled=1e-5, passes=10
):
    """Fit one curve to one rail; give parameters, their standard uncertainties and χ².

    The precision is `curve_fit`'s own unless another is asked for. Raises RuntimeError where
    it finds no end, as `curve_fit` does.
    """
    formula, parameters = FORMULAS[curve], np.asarray(start, float)
    with np.errstate(invalid="ignore", divide="ignore"):  # it tries impossible parameters
        for _ in range(passes):
            sigma = weigh(formula, parameters, gap, gap_u, position_u)
            before = parameters
            parameters, covariance = curve_fit(
                formula, gap, position, p0=parameters, sigma=sigma, absolute_sigma=True,
                maxfev=200, ftol=precision, xtol=precision, gtol=precision,
            )  # fmt: skip
            spread = np.sqrt(np.diag(covariance))
            if (np.abs(parameters - before) <= settled * spread).all():
                break
        away = (position - formula(gap, *parameters)) / sigma
    return parameters, spread, float(np.sum(away**2))
