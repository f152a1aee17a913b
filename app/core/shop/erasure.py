"""Striking a person out of texts: what is looked for, and what is left in its place.

In what belongs to the person each word of the name counts by itself; elsewhere only what can be
nobody else: the whole name, the telephone number, the e-mail address. A text elsewhere that holds
just one word of the name is not touched but shown, because only the maker knows who is meant.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

STRUCK = "—"
FORGOTTEN_NAME = "a client who asked to be forgotten"
FORGOTTEN_EVENT = "The client asked to be forgotten. What named them was removed from the book."
LEAST_LETTERS, LEAST_DIGITS, LEAST_LINE = 3, 5, 4
_NEVER = r"(?!)"  # matches nothing
_TAG_OR_WORDS = re.compile(r"<[^>]*>|[^<]+")
_SAID_IN_TAG = re.compile(r"""((?:alt|title|aria-label)=")([^"]*)(")""")


@dataclass(frozen=True, slots=True)
class Person:
    """What the book knows a person by, now and before it was corrected."""

    names: tuple[str, ...]
    phones: tuple[str, ...] = ()
    emails: tuple[str, ...] = ()
    addresses: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Marks:
    """How a person is found: in their own records, elsewhere, and where to begin looking."""

    own: re.Pattern[str]
    elsewhere: re.Pattern[str]
    hints: tuple[str, ...]


def say_whose(name: str) -> str:
    """Say whose a piece is."""
    return f"the piece of {name}" if name == FORGOTTEN_NAME else f"{name}’s"


def name_words(names: Iterable[str]) -> list[str]:
    """The words of names that are long enough to mean somebody, and halves of double ones."""
    whole = [word.strip(".,;()") for name in names for word in name.split()]
    words = [*whole, *(half for word in whole for half in word.split("-"))]
    return list(dict.fromkeys(word for word in words if len(word) >= LEAST_LETTERS))


def make_marks(person: Person, shared_names: Sequence[str] = (), more: Iterable[str] = ()) -> Marks:
    """Make what is looked for; `shared_names` are other customers' too, `more` only their own."""
    words = sorted(name_words(person.names), key=len, reverse=True)
    phones = [digits for phone in person.phones if (digits := _digits(phone))]
    whole = [
        pattern
        for name in person.names
        if len(name.split()) > 1 and name not in shared_names
        for pattern in _name_patterns(name)
    ]
    sure = [*whole, *map(_phone_pattern, phones), *map(_forms, filter(None, person.emails))]
    lines = [
        line.strip()
        for text in (*person.addresses, *more)
        for line in text.splitlines()
        if len(line.strip()) >= LEAST_LINE
    ]
    longest_first = sorted({*lines}, key=lambda line: -len(line))
    own = [*map(_forms, longest_first), *sure, *map(_word, words)]
    hints = [*words, *(p for p in person.phones if p), *phones, *(e for e in person.emails if e)]
    return Marks(_any(own), _any(sure), tuple(dict.fromkeys(hints)))


def _any(patterns: Sequence[str]) -> re.Pattern[str]:
    return re.compile("|".join(dict.fromkeys(patterns)) or _NEVER, re.IGNORECASE)


def in_page(text: str) -> str:
    """Write a text as it stands in a page."""
    return escape(text).replace("&#x27;", "&#39;").replace("&quot;", "&#34;")


def _forms(text: str) -> str:
    forms = dict.fromkeys((text, in_page(text)))
    return "(?:" + "|".join(re.escape(form) for form in forms) + ")"


def _word(text: str) -> str:
    return rf"(?<!\w){_forms(text)}(?!\w)"


def _name_patterns(name: str) -> list[str]:
    """Match a name in its order, and with its last word first."""
    words = name.split()
    between = r"(?:[\s,]|&nbsp;)+"
    return [
        r"(?<!\w)" + between.join(map(_forms, order)) + r"(?!\w)"
        for order in (words, [words[-1], *words[:-1]])
    ]


def _digits(phone: str) -> str:
    digits = re.sub(r"\D", "", phone)
    return digits if len(digits) >= LEAST_DIGITS else ""


def _phone_pattern(digits: str) -> str:
    return r"\+?(?<!\d)" + r"[\s()/.\-]*".join(digits) + r"(?!\d)"


def strike(text: str, pattern: re.Pattern[str]) -> str:
    """Strike whatever matches out of a text."""
    return pattern.sub(STRUCK, text)


def strike_page(page: str, pattern: re.Pattern[str]) -> str:
    """Strike whatever matches out of a page's words, never out of its marks."""
    return _TAG_OR_WORDS.sub(lambda part: _strike_part(part.group(), pattern), page)


def _strike_part(part: str, pattern: re.Pattern[str]) -> str:
    if not part.startswith("<"):
        return strike(part, pattern)
    return _SAID_IN_TAG.sub(lambda said: said[1] + strike(said[2], pattern) + said[3], part)


def strike_values(value: Any, pattern: re.Pattern[str]) -> Any:
    """Strike whatever matches out of every text in a JSON value."""
    if isinstance(value, str):
        return strike(value, pattern)
    if isinstance(value, list | tuple):
        return [strike_values(part, pattern) for part in value]
    if isinstance(value, dict):
        return {key: strike_values(part, pattern) for key, part in value.items()}
    return value


def list_texts(value: Any) -> list[str]:
    """List every text in a JSON value."""
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for part in inner for text in list_texts(part)]
