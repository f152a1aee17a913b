"""Looks at a composed sheet: where its words stand, and how dark a print is along a line."""

import io
import warnings
from itertools import combinations

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.lines import Line2D
from matplotlib.text import Text
from PIL import Image

from app.render.figures import ASCENT, MM_PER_PT, Sheet, shop_settings

DESCENT = 0.22  # of the letters below the baseline, in ems

LEAST_PT = 9.0


def composed(compose, width_mm, height_mm):
    """Compose a picture on a sheet and give the sheet."""
    with rc_context(shop_settings()):
        sheet = Sheet(width_mm, height_mm)
        compose(sheet)
    return sheet


def words(sheet):
    """Every word drawn, with its box in mm."""
    renderer = FigureCanvasAgg(sheet.figure).get_renderer()
    per_mm = sheet.figure.dpi / 25.4
    found = []
    with rc_context(shop_settings()), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        for text in sheet.figure.findobj(Text):
            if text.get_text() and text.get_visible():
                box, base = text.get_window_extent(renderer), text.get_position()[1]
                em = text.get_fontsize() * MM_PER_PT
                up = (base - DESCENT * em, base + ASCENT * em)
                found.append((text, box.x0 / per_mm, up[0], box.x1 / per_mm, up[1]))
    return found


def lines(sheet):
    """Every line drawn on the sheet."""
    return sheet.figure.findobj(Line2D)


def faults_of_words(sheet):
    """List words that are clipped, too small, or written over each other."""
    found = words(sheet)
    faults = []
    for text, left, bottom, right, top in found:
        if left < 0 or bottom < 0 or right > sheet.width_mm or top > sheet.height_mm:
            faults.append(f"clipped: {text.get_text()!r}")
        if text.get_fontsize() < LEAST_PT:
            faults.append(f"too small: {text.get_text()!r}")
    for one, other in combinations(found, 2):
        across = min(one[3], other[3]) - max(one[1], other[1])
        up = min(one[4], other[4]) - max(one[2], other[2])
        # A box includes room for letters that reach below the line; half a millimetre is that.
        if across > 0.1 and up > 0.5:
            faults.append(f"over each other: {one[0].get_text()!r}, {other[0].get_text()!r}")
    return faults


def one_bit(png, *, dither=False):
    """Show the picture as a black-and-white printer has it: True where it is black."""
    method = Image.Dither.FLOYDSTEINBERG if dither else Image.Dither.NONE
    picture = Image.open(io.BytesIO(png)).convert("L").convert("1", dither=method)
    return ~np.asarray(picture)


def black_along(black, x_mm, y_mm, dpi, reach=1):
    """Tell for points along a line whether the print is black there, or within `reach` dots."""
    column = np.round(np.asarray(x_mm) * dpi / 25.4 - 0.5).astype(int)
    row = np.round(black.shape[0] - np.asarray(y_mm) * dpi / 25.4 - 0.5).astype(int)
    steps = range(-reach, reach + 1)
    near = [
        black[np.clip(row + up, 0, black.shape[0] - 1), column + across]
        for up in steps
        for across in steps
    ]
    return np.any(near, axis=0)


def runs(dark):
    """Lengths of the unbroken dark stretches."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], dark.astype(int), [0]))))
    return edges[1::2] - edges[::2]
