"""Examples are our own: what charts and notebooks print stands only in tests that check it.

A reading line, a tip opening or a bore that the trade passes around is common practice, no source;
whoever needs a line writes an odd one, or takes one of `tests/lines.py`.
"""

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
# the tests that check against the trade's figures; each says that they are common practice
CHECKED_AGAINST = {
    "tests/core/facing/test_analysis.py",
    "tests/core/facing/test_rails.py",
    "tests/web/facing/test_service.py",
}
TEXTS = {".py", ".html", ".md", ".toml", ".css", ".js", ".txt", ".csv", ".svg"}
# tables as their sources print them
PRINTED = ROOT / "tests" / "published" / "data"


def run_of(*numbers: str) -> str:
    """Make the pattern of numbers in a row, in a line, a tuple or cells, left/right or twice."""
    rails = r"(?:/[\d.,½]+|[\"']?, ?[\"']?{0}(?![\d.,½]))?"
    cells = [number + rails.format(number) for number in numbers]
    return r"(?<![\d.½/])(?<!\d,)" + r"[\"']?,?[ \n][\"']?".join(cells) + r"(?![\d½]|[.,]\d)"


FORBIDDEN = {
    "a line": re.compile(
        "|".join(
            (
                run_of("34", "22", "12"),
                run_of("12", "22", "34"),
                run_of("36", "24", "1[234]"),
                run_of("1[234]", "24", "36"),
            )
        )
    ),
    "a tip opening": re.compile(
        r"(?:/ ?|[\"'“`]|[)\]], ?|None, |tip\w*[\"']? ?(?:=|:|==) ?[\"']?)1[.,]02(?!\d)"
        r"|(?<![\d.,])1[.,]02 mm\b"
    ),
    "a bore": re.compile(r"(?<!\d)0?[.,]588(?!\d)"),
}


def texts() -> Iterator[tuple[str, str]]:
    """Give every file that is read by people, with its place."""
    tops = ("app", "demo_data", "migrations", "static", "templates", "tests")
    found = [path for top in tops for path in (ROOT / top).rglob("*")]
    for path in sorted([*found, *ROOT.glob("*.md")]):
        if path.suffix in TEXTS and PRINTED not in path.parents and path != Path(__file__):
            yield path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")


def test_the_trade_s_own_figures_stand_only_where_they_are_checked_against():
    found = [
        f"{place}: {what}: {hit.group(0)}"
        for place, text in texts()
        if place not in CHECKED_AGAINST
        for what, pattern in FORBIDDEN.items()
        for hit in pattern.finditer(text)
    ]
    assert found == [], "write an odd figure of our own, or take a line of tests/lines.py"


def test_every_file_that_checks_against_them_needs_them_and_says_what_they_are():
    for place in CHECKED_AGAINST:
        text = (ROOT / place).read_text(encoding="utf-8")
        assert any(pattern.search(text) for pattern in FORBIDDEN.values()), place
        assert "common practice, no source" in text.lower(), place


def test_the_patterns_know_a_line_however_it_is_written():
    for line in (
        "a,34 22 12 6", "34/33 22/22½ 12 6", "(34, 22, 12, 6)", "6 12 22 34", "36 24 14/13.5 7",
        '"6", "6", "12", "12", "22", "22", "34", "34"', "7, 13, 24, 36",
    ):  # fmt: skip
        assert FORBIDDEN["a line"].search(line), line
    for line in ("134 22 12", "34.5 22 12", "36 24 21", "33.5 21.5 11.5 5.5", "34 22 120"):
        assert not FORBIDDEN["a line"].search(line), line
    for tip in ("9 / 1.02", '"1,02"', "), 1.02)", "tip_mm=1.02", "it was 1.02 mm"):
        assert FORBIDDEN["a tip opening"].search(tip), tip
    for other in ("1.025 mm", "| 1.02 ms |", "0.5 * 1.02", "21.02 mm"):
        assert not FORBIDDEN["a tip opening"].search(other), other
    assert FORBIDDEN["a bore"].search('".588"')
    assert not FORBIDDEN["a bore"].search("0.5881")
