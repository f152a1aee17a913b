"""What there is stands in the documentation: every route, every verb and every option."""

import argparse
from pathlib import Path

from app.web.app import ROUTERS
from app.web.commands import make_parser

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def test_every_route_stands_in_the_developers_page():
    paths = {route.path for router in ROUTERS for route in router.routes}
    assert len(paths) > 40
    assert sorted(path for path in paths if f"`{path}`" not in DEVELOPERS) == []


def test_no_route_stands_there_that_is_gone():
    told = {
        line.split("|")[2].strip().strip("`")
        for line in DEVELOPERS.splitlines()
        if line.startswith(("| `GET`", "| `POST`"))
    }
    assert told <= {route.path for router in ROUTERS for route in router.routes}


def options_of(parser: argparse.ArgumentParser) -> set[str]:
    """List the long options of a parser."""
    return {
        name
        for action in parser._actions
        for name in action.option_strings
        if name.startswith("--") and name != "--help"
    }


def test_every_verb_and_every_option_stands_in_the_readme():
    parser = make_parser()
    verbs = next(one for one in parser._actions if isinstance(one, argparse._SubParsersAction))
    told = {name for name in verbs.choices if f"`python -m app {name}" in README}
    assert set(verbs.choices) - told <= {"serve"}
    options = options_of(parser).union(*(options_of(one) for one in verbs.choices.values()))
    assert sorted(option for option in options if option not in README) == []
    assert "LAYBOOK_BOOK" in README


def test_the_readme_s_pictures_are_there():
    pictures = [part.split(")")[0] for part in README.split("](")[1:] if part.startswith("static")]
    assert len(pictures) >= 4
    for picture in pictures:
        assert (ROOT / picture).stat().st_size > 5000, picture
