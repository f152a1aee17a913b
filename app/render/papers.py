"""Sets papers: values go in as JSON, pages and a PDF come out, by Typst from one template.

A value is only ever text: nothing in it is read as markup. Pictures go in as SVG, so that a paper
is made of texts alone; a photograph lies inside one. The same values give the same bytes.
"""

import base64
import gzip
import json
import re
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.core.jobs.slips import Page

if TYPE_CHECKING:
    from typst import Fonts

_KEPT = 12  # a page, its pictures and its PDF are asked for within a moment
# Typst names each letter in its own words; one that can't be shown by its number.
_CODED = re.compile(r"\\u\{([0-9a-f]+)\}")
_MISSING = re.compile(r'the text `"(.+?)"` could not be displayed')


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper to set: its template, what it is called, its page, its values and its pictures.

    `values` is JSON; `pictures` are names with their SVG. `templates` and `fonts` are folders.
    """

    template: str
    values: str
    pictures: tuple[tuple[str, str], ...]
    templates: Path
    fonts: Path


def make_paper(
    template: str,
    title: str,
    page: Page,
    values: Mapping[str, object],
    pictures: Mapping[str, str],
    folders: tuple[Path, Path],
) -> Paper:
    """Put a paper together; `folders` are those of the templates and the fonts."""
    size = {name: getattr(page, name) for name in _PAGE}
    printed = _clean({"title": title, "page": size, "pictures": sorted(pictures), **values})
    return Paper(
        template, json.dumps(printed, ensure_ascii=False), tuple(pictures.items()), *folders
    )


def _clean(value: Any) -> Any:
    """Leave out the signs that no font has because they are none: controls, halves of letters."""
    if isinstance(value, str):
        return "".join(_sign(part) for part in value)
    if isinstance(value, Mapping):
        return {name: _clean(inner) for name, inner in value.items()}
    return [_clean(part) for part in value] if isinstance(value, (list, tuple)) else value


def _sign(sign: str) -> str:
    if (sign >= " " and sign.isprintable()) or sign == "\n":
        return sign
    if sign in "\t\u2028\u2029":
        return " "
    return "" if unicodedata.category(sign) in {"Cc", "Cs"} else sign


_PAGE = ("width_mm", "height_mm", "top_mm", "side_mm", "foot_mm")


def make_pdf(paper: Paper) -> bytes:
    """Make a paper's PDF, tagged for screen readers (PDF/UA-1).

    With a letter that no font has, that promise can't be kept: it is printed as an empty box.
    """
    return _set(paper)[0]


def find_unprintable(paper: Paper) -> tuple[str, ...]:
    """List the letters of a paper for which this machine has no font."""
    return _set(paper)[1]


@lru_cache(maxsize=_KEPT)
def _set(paper: Paper) -> tuple[bytes, tuple[str, ...]]:
    from typst import TypstError

    try:
        return _compile(paper, "pdf", standards=["ua-1"]), ()
    except TypstError as error:
        letters = (
            _CODED.sub(lambda coded: chr(int(coded[1], 16)), letter)
            for letter in _MISSING.findall(error.diagnostic)
        )
        missing = tuple(dict.fromkeys(letters))
        if not missing:
            raise
    return _compile(paper, "pdf"), missing


@lru_cache(maxsize=_KEPT)
def draw_pages(paper: Paper) -> tuple[bytes, ...]:
    """Draw a paper's pages as SVG, compressed: letters are outlines, so any browser shows them."""
    drawn = _compile(paper, "svg")
    pages = drawn if isinstance(drawn, list) else [drawn]
    return tuple(gzip.compress(page, mtime=0) for page in pages)


@lru_cache(maxsize=_KEPT)
def write_words(paper: Paper) -> str:
    """Write a paper's words as HTML of plain headings, paragraphs and tables, for who can't see."""
    reader = _Words()
    reader.feed(_compile(paper, "html").decode())
    return _EMPTY_HEAD.sub("<td></td>", "".join(reader.kept))


def frame_photo(content: bytes | None, width: int, height: int) -> str:
    """Put a JPEG into an SVG of its size in dots; without one the frame stays bare."""
    size = f'width="{width}" height="{height}"'
    inside = f'<rect {size} fill="#eee"/>'
    if content is not None:
        encoded = base64.b64encode(content).decode()
        inside = f'<image {size} href="data:image/jpeg;base64,{encoded}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width} {height}">'
        f"{inside}</svg>"
    )


def can_draw(picture: str) -> bool:
    """Say whether an SVG can stand on a paper."""
    import typst

    files = {"main.typ": b'#image("mark.svg")', "mark.svg": picture.encode()}
    with suppress(typst.TypstError):
        made = typst.compile(files, format="svg", font_paths=[])  # type: ignore[call-overload]
        return bool(made)
    return False


def _compile(paper: Paper, form: str, *, standards: list[str] | None = None):  # type: ignore[no-untyped-def]
    import typst

    files: dict[str, object] = {path.name: path for path in paper.templates.glob("*.typ")}
    files["main.typ"] = paper.templates / f"{paper.template}.typ"
    files["values.json"] = paper.values.encode()
    files |= {name: picture.encode() for name, picture in paper.pictures}
    return typst.compile(
        files,  # type: ignore[call-overload]
        format=form,
        font_paths=_fonts(paper.fonts),
        pdf_standards=standards or [],
    )


@cache
def _fonts(folder: Path) -> "Fonts":
    """Find the fonts once: ours, Typst's own, and the machine's for other scripts."""
    from typst import Fonts

    return Fonts(font_paths=[folder])


# A corner of a table that heads nothing is a cell, for whoever hears the page.
_EMPTY_HEAD = re.compile(r"<th[^>]*>\s*</th>")


class _Words(HTMLParser):
    """Keeps the words and their order: headings, paragraphs, lists and tables, no attributes."""

    KEPT = frozenset(
        {"h2", "h3", "h4", "p", "div", "ul", "ol", "li", "dl", "dt", "dd", "br",
         "table", "thead", "tbody", "tr", "td", "th"}
    )  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self.kept: list[str] = []
        self._in_body = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a known tag; a heading of a table's columns says so."""
        self._in_body = self._in_body or tag == "body"
        if tag in self.KEPT and self._in_body:
            span = dict(attrs).get("colspan") or ""
            colspan = f' colspan="{span}"' if span.isdecimal() else ""
            scope = ' scope="col"' if tag == "th" else ""
            self.kept.append(f"<{tag}{scope}{colspan}>")

    def handle_endtag(self, tag: str) -> None:
        """Close a known tag."""
        if tag in self.KEPT and tag != "br" and self._in_body:
            self.kept.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        """Keep words as words."""
        if self._in_body:
            self.kept.append(escape(data, quote=False))
