"""What a picture's lines leave on paper: each curve told apart in black and white."""

import dataclasses

import numpy as np

from tests.render.sheets import black_along, lines, runs


@dataclasses.dataclass(frozen=True)
class Print:
    """What a line leaves on paper: share that is dark, breaks, longest dark stretch, thickness."""

    dark: float
    breaks: int
    longest_mm: float
    thick_mm: float


def prints_on(black, sheet, picture, dpi):
    """Look along each line of a printed picture, away from marks; `black` is the print."""
    curves = [
        line for line in lines(sheet)
        if line.get_zorder() in (2.2, 2.4) and line.get_linewidth() > 0.6
    ]  # fmt: skip
    assert len(curves) == len(picture.lines)
    marks = np.concatenate(
        [np.column_stack(m.get_data()) for m in lines(sheet) if m.get_marker() in ("o", "D")]
    )
    step = 0.05
    prints = {}
    for line, curve in zip(picture.lines, curves, strict=True):
        x, y = curve.get_data()
        along = np.concatenate(([0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))
        at = np.arange(0.25 * along[-1], 0.75 * along[-1], step)
        x, y = np.interp(at, along, x), np.interp(at, along, y)
        away = np.hypot(x[:, None] - marks[:, 0], y[:, None] - marks[:, 1]).min(axis=1) > 2.0
        dark = black_along(black, x, y, dpi)
        white = runs(~dark & away) * step
        direction = np.gradient(np.column_stack([x, y]), axis=0)
        normal = (
            np.column_stack([-direction[:, 1], direction[:, 0]]) / np.hypot(*direction.T)[:, None]
        )
        across = np.arange(-0.6, 0.6, 25.4 / dpi / 2)
        cut = [black_along(black, x + d * normal[:, 0], y + d * normal[:, 1], dpi, reach=0)
               for d in across]  # fmt: skip
        thick = np.mean(cut, axis=0)[dark & away] * 1.2
        prints[line.state, line.rail] = Print(
            float(dark[away].mean()),
            int((white > 0.25).sum()),
            float(runs(dark & away).max() * step),
            float(np.median(thick)),
        )
    return prints
