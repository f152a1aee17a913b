"""A picture's colours on a dark screen: each as far from the dark paper as it was from the white.

Only what a page shows is told so; papers are drawn from the same pictures and stay white.
"""

import colorsys
import re

from app.render.figures import PAPER

DARK_PAPER = "#1e1b17"  # the dark `--sheet` of static/laybook.css
_COLOR = re.compile(rb"#[0-9a-f]{6}")


def contrast(color: str, other: str) -> float:
    """The contrast ratio of two colours (#rrggbb), 1 to 21, as WCAG 2 defines it."""
    high, low = sorted((_luminance(color), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(color: str) -> float:
    """The relative luminance of a colour, 0 to 1 (WCAG 2)."""
    shares = (int(color[at : at + 2], 16) / 255 for at in (1, 3, 5))
    linear = [
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def dark_of(color: str) -> str:
    """The colour of that hue with as much contrast on the dark paper as it has on white."""
    if color == PAPER:
        return DARK_PAPER
    wanted = contrast(color, PAPER) * (_luminance(DARK_PAPER) + 0.05) - 0.05
    red, green, blue = (int(color[at : at + 2], 16) / 255 for at in (1, 3, 5))
    hue, _, saturation = colorsys.rgb_to_hls(red, green, blue)
    low, high = 0.0, 1.0
    for _ in range(12):  # a step of 1/4096 is finer than one of a colour's 256
        middle = (low + high) / 2
        if _luminance(_hex(hue, middle, saturation)) < wanted:
            low = middle
        else:
            high = middle
    return _hex(hue, high, saturation)


def _hex(hue: float, lightness: float, saturation: float) -> str:
    shares = colorsys.hls_to_rgb(hue, lightness, saturation)
    return "#" + "".join(f"{round(255 * share):02x}" for share in shares)


def in_the_dark(svg: bytes) -> bytes:
    """Let a picture follow a screen that is dark; what is no picture of ours stays as it is."""
    if b'id="figure_1"' not in svg:
        return svg
    rules = "".join(
        f'[style*="{what}: {color}"]{{{what}: {dark_of(color)} !important}}'
        for color in sorted({code.decode() for code in _COLOR.findall(svg)})
        for what in ("fill", "stroke")
    )
    style = f"@media screen and (prefers-color-scheme: dark){{{rules}}}</style>"
    return svg.replace(b"</style>", style.encode(), 1)
