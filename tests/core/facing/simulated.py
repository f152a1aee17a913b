"""Facings read from known curves, and where on a known curve a blade stops."""

import numpy as np

from app.core.facing.curves import CURVES
from app.core.values.readings import BladeStop

BLADES_MM = 25.4 * np.array([0.0015, 0.005, 0.010, 0.016, 0.024, 0.034, 0.050])
FOUR_BLADES_MM = BLADES_MM[[0, 2, 4, 5]]


def reach_of(curve, parameters, gap_mm):
    """Give b, and for each gap the distance u, du/dh and the derivatives by the shape."""
    b, shape = curve.internal(parameters)
    return b, [curve.family.reach(shape, gap) for gap in np.ravel(gap_mm).tolist()]


def position_of(curve, parameters, gap_mm):
    """Give where each gap is found, by the code that fits."""
    b, reaches = reach_of(curve, parameters, gap_mm)
    return b - np.reshape([u for u, _, _ in reaches], np.shape(gap_mm))


def read_stops(curve, truth, blades_mm, rng, *, position_u=0.15, gap_u=0.003):
    """Read a known facing once: each blade off by its error, then its stop by the reader's."""
    felt = blades_mm + gap_u * rng.standard_normal(len(blades_mm))
    read = position_of(curve, truth, felt) + position_u * rng.standard_normal(len(blades_mm))
    return tuple(map(BladeStop, blades_mm.tolist(), read.tolist()))


# five shapes of facing, curves of up to three parameters, all of about one length and opening
FIVE_SHAPES = {
    "arc": {"break_mm": 22.2, "radius_mm": 214.0},
    "parabola": {"break_mm": 22.2, "coefficient_per_mm": 0.00234},
    "ellipse": {"break_mm": 23.0, "half_length_mm": 30.0, "half_height_mm": 3.5},
    "straight_tip": {"break_mm": 22.0, "radius_mm": 190.0, "straight_from_mm": 7.0},
    "easing": {"break_mm": 22.5, "curvature_per_mm": 1 / 260, "curvature_rate_per_mm2": 1.2e-4},
}


def read_five_shapes(count, seed, blades_mm, *, spread=0.15):
    """Read facings of the five shapes in turn, no two alike; give key, truth, stops and the tip."""
    rng = np.random.default_rng(seed)
    for i in range(count):
        key = list(FIVE_SHAPES)[i % len(FIVE_SHAPES)]
        curve = CURVES[key]
        while True:
            truth = {
                name: value * (1.0 + spread * rng.uniform(-1.0, 1.0))
                for name, value in FIVE_SHAPES[key].items()
            }
            try:
                opening = float(curve.gap_at(truth, 0.0))
            except ValueError:
                continue
            if 1.2 * blades_mm[-1] < opening < 2.5:
                break
        tip = opening + 0.01 * rng.standard_normal()
        yield key, truth, read_stops(curve, truth, blades_mm, rng), (tip, 0.01)
