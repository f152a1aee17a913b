"""The shop's own mark as an SVG text, made again from what is drawn in the file that came in.

Only shapes, groups and their looks are kept: no script, no style sheet, no event, no link but to a
part of itself, and nothing that draws again what itself draws again. So what is kept can neither
act nor reach for anything, wherever it is shown.
"""

import re
from xml.etree import ElementTree

MOST_BYTES = 600_000
MOST_KEPT = 120_000
SVG = "http://www.w3.org/2000/svg"
_XLINK = "{http://www.w3.org/1999/xlink}"
_SHAPES = set(
    re.findall(
        r"\w+",
        """svg g defs symbol use path rect circle ellipse line polyline polygon text tspan title
        desc linearGradient radialGradient stop clipPath""",
    )
)
_LOOKS = set(
    re.findall(
        r"[\w-]+",
        """id d x y x1 y1 x2 y2 cx cy r rx ry fx fy dx dy width height viewBox preserveAspectRatio
        points transform fill fill-rule fill-opacity stroke stroke-width stroke-linecap
        stroke-linejoin stroke-miterlimit stroke-dasharray stroke-dashoffset stroke-opacity opacity
        clip-path clip-rule offset stop-color stop-opacity color display gradientUnits
        gradientTransform spreadMethod clipPathUnits font-family font-size font-weight font-style
        text-anchor letter-spacing href style""",
    )
)
_FAR = re.compile(r"url\(\s*['\"]?(?!#)|@|\\|expression|script", re.IGNORECASE)
_DEEPEST = 40


class MarkRefused(Exception):  # noqa: N818 - a refusal in words
    """The file can't be kept as a mark; the message says why."""


def clean_mark(content: bytes) -> str:
    """Make a mark of an SVG file's content; raises MarkRefused in words."""
    if len(content) > MOST_BYTES:
        raise MarkRefused(f"is larger than {MOST_BYTES // 1000} kB")
    try:
        text = content.decode("utf-8-sig")
        if "<!ENTITY" in text:
            raise MarkRefused("declares entities, which are not read here")
        root = ElementTree.fromstring(text)  # noqa: S314 - entities are refused just above
    except (UnicodeDecodeError, ElementTree.ParseError):
        raise MarkRefused("is no drawing that can be read here; send SVG or PNG") from None
    if root.tag != f"{{{SVG}}}svg":
        raise MarkRefused("is not an SVG drawing")
    kept = _keep(root, _list_nested(root), 0)
    if "viewBox" not in kept.attrib and not {"width", "height"} <= set(kept.attrib):
        raise MarkRefused("does not say how large it is")
    ElementTree.register_namespace("", SVG)
    made = ElementTree.tostring(kept, encoding="unicode")
    if len(made) > MOST_KEPT:
        raise MarkRefused("holds more than a mark needs; simplify it, or send PNG")
    return made


def _list_nested(root: ElementTree.Element) -> set[str]:
    """List what may not be drawn again: parts that draw other parts again themselves."""

    def again(part: ElementTree.Element) -> bool:
        return part.tag == f"{{{SVG}}}use" or "clip-path" in (*part.attrib, part.get("style", ""))

    named = (element for element in root.iter() if element.get("id"))
    return {
        element.attrib["id"] for element in named if any(again(part) for part in element.iter())
    }


def _keep(element: ElementTree.Element, nested: set[str], depth: int) -> ElementTree.Element:
    """Make an element again from what may stay of it."""
    if depth > _DEEPEST:
        raise MarkRefused("is nested deeper than a mark needs; simplify it, or send PNG")
    made = ElementTree.Element(element.tag)
    made.text, made.tail = element.text, element.tail
    for name, value in element.attrib.items():
        plain = name.removeprefix(_XLINK)
        if plain not in _LOOKS or _FAR.search(value):
            continue
        if plain == "href" and not value.startswith("#"):
            continue
        if any(f"#{element_id}" in value for element_id in nested):
            continue
        made.set(plain, value)
    for child in element:
        tag = child.tag.removeprefix(f"{{{SVG}}}") if isinstance(child.tag, str) else ""
        if tag in _SHAPES:
            made.append(_keep(child, nested, depth + 1))
    return made
