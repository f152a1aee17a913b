"""A picture on a dark screen keeps every contrast it has on white, and papers stay as they are."""

import re
from pathlib import Path

import pytest

from app.render.dark import DARK_PAPER, contrast, dark_of, in_the_dark
from app.render.figures import ACCENT, FAINT, GREY, INK, PAPER
from app.render.profile import ProfilePicture, draw_profile

STATIC = Path(__file__).parents[2] / "static"
CSS = (STATIC / "laybook.css").read_text()


def test_contrast_is_that_of_wcag():
    # WCAG 2.2, definition of contrast ratio: black on white is 21; #777777 is the known 4.48
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#ffffff", "#777777") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("color", [INK, GREY, FAINT, ACCENT, "#7b7569", "#ece7dc"])
def test_a_colour_stands_off_the_dark_paper_as_off_the_white(color):
    assert contrast(dark_of(color), DARK_PAPER) == pytest.approx(contrast(color, PAPER), rel=0.04)


def test_every_colour_of_a_picture_has_its_dark_one_for_screens_only():
    drawn = draw_profile(ProfilePicture(()))
    shown = in_the_dark(drawn).decode()
    (rules,) = re.findall(r"@media screen and \(prefers-color-scheme: dark\){(.*?)}</style>", shown)
    for color in set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", drawn.decode())):
        assert f': {color}"]' in rules
    assert b"prefers-color-scheme" not in drawn
    assert in_the_dark(b"<svg>a photograph</svg>") == b"<svg>a photograph</svg>"


def looks() -> tuple[dict[str, str], dict[str, str]]:
    light, rest = CSS.split("@media screen and (prefers-color-scheme: dark)")[:2]
    parts = light, rest.split("\n}\n")[0]
    found = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", part)) for part in parts]
    whole = [
        {key: "#" + "".join(2 * one for one in value[1:]) if len(value) == 4 else value
         for key, value in part.items()} for part in found
    ]  # fmt: skip
    return whole[0], whole[0] | whole[1]


@pytest.mark.parametrize(
    ("ink", "paper", "least"),
    [
        *((ink, paper, 4.5) for ink in ("ink", "quiet", "bad") for paper in
          ("paper", "sheet", "wash", "field")),
        ("bad", "bad-wash", 4.5), ("on-accent", "accent", 4.5), ("on-accent", "accent-dark", 4.5),
        ("edge", "sheet", 3.0), ("edge", "field", 3.0), ("accent", "sheet", 3.0),
    ],
)  # fmt: skip
def test_the_dark_look_is_as_contrasty_as_the_light_one(ink, paper, least):
    light, dark = (contrast(look[ink], look[paper]) for look in looks())
    assert min(light, dark) >= least
    assert dark >= 0.9 * min(light, 7.0) or dark >= light


def test_the_dark_paper_of_pictures_is_that_of_the_sheets_they_stand_on():
    assert looks()[1]["sheet"] == DARK_PAPER
