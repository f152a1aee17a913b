"""Names nobody should have to fear, and what an SVG must not hold."""

import xml.etree.ElementTree as ElementTree

HOSTILE = (
    "$x^2$ and $\\frac{1}{0}$",
    "</svg><script>alert(1)</script>",
    "-- > --><script>alert(1)</script><!--",
    "a_b^c & \"d\" 'e' \\alpha %s {0}",
    "bell\x07 nul\x00 line\nbreak half\ud800 none\ufffe",
    "Łóźdka, Mümmler, Ærøskrøb, Ōsūka, 漢字",
    "unbroken" * 40,
    "many short words " * 30,
)


def faults_of_svg(svg):
    """List whatever in an SVG could act or fetch; it must be well-formed to begin with."""
    faults = []
    for element in ElementTree.fromstring(svg).iter():  # noqa: S314 - our own picture
        tag = element.tag.split("}")[-1]
        if tag in {"script", "foreignObject", "image", "a", "animate", "set", "handler"}:
            faults.append(tag)
        for key, value in element.attrib.items():
            name = key.split("}")[-1]
            if name.startswith("on") or (name == "href" and not value.startswith("#")):
                faults.append(f"{tag} {name}={value}")
            if "url(" in value and not value.startswith("url(#"):
                faults.append(f"{tag} {name}={value}")
    return faults
