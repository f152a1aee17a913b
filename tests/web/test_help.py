"""The help page: our own drawings, each with words for those who can't see it, each term once."""

from pathlib import Path

import pytest

from tests.render.hostile import faults_of_svg

STATIC = Path(__file__).parents[2] / "static"
DRAWINGS = ("help-glass.svg", "help-wedge.svg", "help-sides.svg", "help-front.svg", "help-cut.svg")


def test_every_drawing_is_there_with_words_and_every_term_is_explained_once(browser, client):
    browser.open("/help")
    shown = {one["src"].split("?")[0]: one["alt"] for one in browser.page.select(".drawing img")}
    assert set(shown) == {f"/static/{name}" for name in DRAWINGS}
    for address, words in shown.items():
        assert len(words) > 60
        assert client.get(address).headers["content-type"].startswith("image/svg+xml")
    terms = [one.text for one in browser.page.select(".words dt")]
    assert {"facing", "break point", "glass reading", "resistance"} <= set(terms)
    assert len(set(terms)) == len(terms)


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_fetches_and_runs_nothing(name):
    assert faults_of_svg((STATIC / name).read_bytes()) == []


def test_the_page_says_where_the_break_point_lies_and_which_side_is_left(browser):
    text = browser.open("/help").get_text(" ")
    assert "further from the tip than the facing length" in " ".join(text.split())
    assert "table facing you, tip up" in text
