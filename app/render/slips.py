"""Prints papers: blocks go in, the paper's HTML comes out.

The HTML is kept with the issued paper. Its style sheet has a number in its name and is never
changed once papers were issued with it: a new look is a new sheet and a new template.
"""

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.render.blocks import Block

SHEET = "paper-1.css"
_TEMPLATE = "slips/paper.html"
_PX_PER_MM = 96 / 25.4


@cache
def _environment(folder: Path) -> Environment:
    environment = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["px"] = lambda length_mm: round(length_mm * _PX_PER_MM)
    return environment


def print_slip(templates: Path, kind: str, blocks: Sequence[Block], folder: str) -> str:
    """Print one paper; `templates` holds the templates, `folder` is the address of its files."""
    template = _environment(templates).get_template(_TEMPLATE)
    return template.render(kind=kind, blocks=blocks, folder=folder)
