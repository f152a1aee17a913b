"""Nothing in the program is there for nobody: what only tests use goes, or comes into use."""

import re
from pathlib import Path

from vulture import Vulture

ROOT = Path(__file__).resolve().parents[1]
# Asked for by name by what calls us: a framework, the service's contract, a file's own words.
CALLED_FROM_OUTSIDE = {
    "model_config", "handle_starttag", "handle_endtag", "handle_data", "autocommit",
    "isolation_level", "impl", "cache_ok", "process_bind_param", "process_result_value",
    "type_annotation_map", "should_exit", "total_tokens",
    "left_in_fit", "right_in_fit",  # web/facing/lengths.py takes them by rail
    "mark_typed",  # a check has it by `asdict` and `as_entry`
    "issued_at",  # the book's own, for whoever reads an export
    "TypeIs",  # in an annotation that is a text
}  # fmt: skip


def words_of_templates() -> set[str]:
    """List every word that a template, a paper's template or the script may ask a value by."""
    paths = [
        *(ROOT / "templates").rglob("*.html"),
        *(ROOT / "templates").rglob("*.typ"),
        *(ROOT / "static").glob("*.js"),
        *(ROOT / "app/web").glob("*/service*.py"),
    ]  # fields of JSON are named in a text
    words: set[str] = set()
    for path in paths:
        words |= set(re.findall(r"\w+(?:-\w+)*", path.read_text(encoding="utf-8")))
    return {word.replace("-", "_") for word in words} | words


def test_whatever_the_program_defines_it_uses():
    vulture = Vulture(ignore_decorators=["@router.*", "@app.*", "@event.*", "@listens_for*"])
    vulture.scavenge([str(ROOT / "app")])
    used = words_of_templates() | CALLED_FROM_OUTSIDE
    unused = [
        f"{Path(one.filename).relative_to(ROOT)}:{one.first_lineno}: {one.typ} {one.name}"
        for one in vulture.get_unused_code()
        if one.name not in used
    ]
    assert unused == []
