"""Prints papers: values already in words go in, the paper's HTML comes out.

The HTML is kept with the issued paper. Its style sheet has a number in its name and is never
changed once papers were issued with it: a new look is a new sheet and a new template.
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

SHEET = "paper-1.css"


@cache
def _environment(folder: Path) -> Environment:
    return Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def print_slip(folder: Path, template: str, printed: Mapping[str, Any]) -> str:
    """Print one paper from its values; `folder` holds the templates."""
    return _environment(folder).get_template(template).render(**printed)
