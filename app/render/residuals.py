"""How far each blade stopped from where the curve says, along the glass, with its uncertainty.

One row per blade, thin at the bottom as on the profile. To the right of the line the blade
stopped further from the tip than the curve has it. A bar that crosses the line is a reading the
curve can live with.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from app.core.facing.analysis import FacingAnalysis
from app.core.facing.fits import RailAnalysis
from app.core.values.units import format_signed
from app.render.figures import (
    ACCENT,
    FAINT,
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    text_width_mm,
    wrap_text,
)
from app.render.looks import RING_PT, BladeLevel, Rail
from app.render.scales import (
    Picture,
    draw_glass_scale,
    draw_lower_scale,
    drawer,
    lay_plot,
)

_LOOKS: dict[Rail, LineLook] = {
    "left": LineLook(color=INK, mark="o", mark_pt=5.6),
    "right": LineLook(color=INK, mark="o", mark_pt=5.6 + RING_PT / 2, mark_open=True),
    "mean": LineLook(color=INK, mark="s", mark_pt=5.6),
}
_LEAST_MM = 0.5
_AGAIN = "take again"


@dataclass(frozen=True, slots=True)
class Residual:
    """Read minus curve along the glass; `half_mm` is half the bar, the expanded uncertainty."""

    rail: Rail
    gap_mm: float
    residual_mm: float
    half_mm: float
    take_again: bool = False


@dataclass(frozen=True, slots=True)
class ResidualPicture(Picture):
    """Residuals of one reading set; `curves` says in words which curve each rail is held to."""

    residuals: tuple[Residual, ...]
    blades: tuple[BladeLevel, ...]
    curves: tuple[str, ...] = ()


def residuals_of(
    analysis: FacingAnalysis, *, curves: Mapping[Rail, str] | None = None, k: float = 2.0
) -> tuple[Residual, ...]:
    """List the residuals of both rails from their chosen curve, or from the ones named.

    A rail without a chosen curve is held to the one that fits it least badly. The tip, whose
    residual is a gap and not a position, is left out.
    """
    residuals: list[Residual] = []
    rails: tuple[tuple[Rail, RailAnalysis | None], ...] = (
        ("left", analysis.left),
        ("right", analysis.right),
    )
    for rail, judgement in rails:
        if judgement is None or not judgement.fits:
            continue
        wanted = (curves or {}).get(rail) or judgement.chosen
        fit = judgement.fit(wanted) or max(judgement.fits, key=lambda tried: tried.p or 0.0)
        for place, stop in enumerate(judgement.stops):
            u_mm = fit.residual_u[place] if place < len(fit.residual_u) else 0.0
            again = place in judgement.suspect
            residuals.append(Residual(rail, stop.gap_mm, fit.residuals[place], k * u_mm, again))
    return tuple(residuals)


def compose_residuals(sheet: Sheet, picture: ResidualPicture) -> None:
    """Draw the residuals on a sheet of the picture's size."""
    labels = ["".join(wrap_text(blade.label, 26.0, 1)) for blade in picture.blades]
    left = max([text_width_mm(text) for text in [*labels, "blade"]], default=10.0) + 6.0
    reach = max([_LEAST_MM, *(abs(r.residual_mm) + r.half_mm for r in picture.residuals)]) * 1.08
    edges = (-reach, reach), (0.0, float(max(1, len(labels))))
    plot = lay_plot(sheet, *edges, footer=_footer(picture), glass=True, left_mm=left)
    draw_lower_scale(
        sheet, plot, "mm along the glass from the curve", lambda value: format_signed(value, 1)
    )
    draw_glass_scale(sheet, plot, picture.glass_mm_per_number, signed=True)
    middle = plot.x(0.0)
    sheet.strokes([((middle, plot.bottom_mm), (middle, plot.top_mm))], color=GREY, width_pt=0.8)
    order = sorted(range(len(labels)), key=lambda at: picture.blades[at].gap_mm)
    for row, at in enumerate(order):
        y = plot.y(row + 0.5)
        sheet.text(plot.left_mm - 2.0, y, labels[at], color=GREY, across="right", up="center")
        edge = plot.y(row + 1.0)
        sheet.strokes([((plot.left_mm, edge), (plot.right_mm, edge))], color=FAINT, width_pt=0.4)
        gap_mm = picture.blades[at].gap_mm
        here = [r for r in picture.residuals if abs(r.gap_mm - gap_mm) < 1e-6]
        _draw_row(sheet, plot, y, here, apart=len({r.rail for r in picture.residuals}) > 1)
    # Clear of the first number of the scale, which may reach over the plot's edge.
    sheet.text(plot.left_mm - 5.0, plot.top_mm + 1.0, "blade", color=GREY, across="right")


draw_residuals = drawer(compose_residuals)


def _draw_row(
    sheet: Sheet, plot: Plot, y: float, residuals: Sequence[Residual], *, apart: bool
) -> None:
    """Draw one blade's readings, the left rail above the right if both were read."""
    room = min(3.2, plot.height_mm / max(1.0, plot.y_high) / 4) if apart else 0.0
    for residual in residuals:
        up = {"left": room, "right": -room, "mean": 0.0}[residual.rail]
        look = _LOOKS[residual.rail]
        if residual.take_again:
            look = replace(look, color=ACCENT)
        low = plot.x(residual.residual_mm - residual.half_mm)
        high = plot.x(residual.residual_mm + residual.half_mm)
        ends = [((edge, y + up - 0.8), (edge, y + up + 0.8)) for edge in (low, high)]
        dashes = (3.6, 2.0) if residual.rail == "right" else None
        sheet.line([low, high], [y + up, y + up], LineLook(look.color, 1.2, dashes), 2.2)
        sheet.strokes(ends, color=look.color, width_pt=0.9, layer=2.2)
        sheet.marks([plot.x(residual.residual_mm)], [y + up], look, 3.0)
        words = residual.rail + (f", {_AGAIN}" if residual.take_again else "")
        width = text_width_mm(words)
        fits_right = high + 1.2 + width <= plot.right_mm
        sheet.text(
            high + 1.2 if fits_right else low - 1.2, y + up, words, color=look.color,
            across="left" if fits_right else "right", up="center",
        )  # fmt: skip


def _footer(picture: ResidualPicture) -> list[str]:
    texts = list(picture.curves)
    if not picture.residuals:
        return [*texts, "There is no curve to hold the readings to.", *picture.notes]
    texts.append("Right of the line: stopped further from the tip than the curve has it.")
    texts.append("Bars: what the gauges can't tell (twice the standard uncertainty).")
    return [*texts, *picture.notes]
