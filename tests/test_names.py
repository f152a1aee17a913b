"""Every person, maker, model and place in hints and tests is plainly invented and was looked at.

`tests/web/demo/test_demo.py` holds the same for the made-up shop.
"""

import ast
import re
import tomllib
from collections.abc import Iterator

from app.core.shop.notebooks import COLUMNS
from app.packed import folder_of
from tests.test_examples import ROOT

NAMES = tomllib.loads((folder_of("demo_data") / "names.toml").read_text(encoding="utf-8"))
LISTED = {
    name
    for part in (NAMES, NAMES["elsewhere"])
    for names in part.values()
    if isinstance(names, list)
    for name in names
}
PLACES = {*NAMES["places"], *NAMES["elsewhere"]["places"]}
NAMED = {"customer_name", "piece_maker", "piece_model", "instrument_maker", "instrument_model"}
ADDRESSES = {"address", "customer_address"}
TELEPHONES = {"phone", "customer_phone"}
# words with capital letters that name nobody, or a source
WORDS = {"Little's Law", "Spying Camera", "Wet Paper", "Ἑλληνική Жужуковка"}
# a lower-case letter at its end tells a name from SQL
WORD = r"[^\W\d_a-zß-öø-ÿ][\w'’-]*[^\W\dA-Z_]"
NAME = re.compile(rf"{WORD}(?: (?:& )?{WORD})+")


def looks_like_a_name(text: str) -> bool:
    """Tell words that all begin with a capital; most scripts have none."""
    return bool(NAME.fullmatch(text)) and all(
        word[0].isupper() for word in text.split() if word != "&"
    )


def trees() -> Iterator[ast.Module]:
    for path in sorted((ROOT / "tests").rglob("*.py")):
        yield ast.parse(path.read_text(encoding="utf-8"))


def texts(tree: ast.Module) -> Iterator[str]:
    """Give what is written between quotes, part by part of a list or a table."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from re.split(r"[,;\n“”\"]", node.value)


def fields(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Give what forms are filled with, by field; a customer may also be taken in by name."""
    for node in ast.walk(tree):
        pairs: list[tuple[object, ast.expr]] = []
        if isinstance(node, ast.Call):
            pairs = [(keyword.arg, keyword.value) for keyword in node.keywords]
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if called in {"take_in", "take_piece_in"} and node.args:
                pairs.append(("customer_name", node.args[-1]))
        elif isinstance(node, ast.Dict):
            pairs = [
                (key.value, value)
                for key, value in zip(node.keys, node.values, strict=True)
                if isinstance(key, ast.Constant)
            ]
        for field, value in pairs:
            if isinstance(value, ast.Constant) and isinstance(value.value, str) and value.value:
                yield str(field), value.value


def test_whatever_looks_like_a_name_is_listed():
    found = {text for tree in trees() for text in texts(tree) if looks_like_a_name(text)}
    assert found - LISTED - WORDS == set(), "look at it, then list it in demo_data/names.toml"


def test_whatever_is_written_into_a_name_is_listed():
    found = {text for tree in trees() for field, text in fields(tree) if field in NAMED}
    assert "Ottilie Wiesenrauch" in found
    assert found - LISTED == set(), "look at it, then list it in demo_data/names.toml"


def test_every_address_ends_in_a_place_that_is_listed():
    found = [text for tree in trees() for field, text in fields(tree) if field in ADDRESSES]
    assert len(found) >= 5
    for address in found:
        assert re.split(r"\n|, ", address)[-1] in PLACES, address


def test_telephone_numbers_are_of_the_range_kept_free():
    # Ofcom keeps 01632 960000 to 960999 free for stories (from memory)
    found = [text for tree in trees() for field, text in fields(tree) if field in TELEPHONES]
    assert len(found) >= 5
    for number in found:
        assert re.fullmatch(r"(?:01632|\+44 1632) 960[\d {i}]*", number), number


def test_the_table_of_old_records_shows_listed_names_only():
    shown = {key: column.example for key, column in COLUMNS.items()}
    assert {shown["name"], shown["maker"], shown["model"]} <= LISTED
    assert shown["address"].split(", ")[-1] in PLACES
    assert shown["phone"].startswith("01632 960 ")
