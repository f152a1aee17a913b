"""What was typed becomes a value, or all its errors by field.

A page hands over its raw fields; a parse function in the noun's own module reads them through
`Fields`, which collects every problem instead of stopping at the first, and gives back either a
frozen value or `Refused`. What was typed is never changed here, so the page can show it again.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from app.core.units import NotANumber, Scale, parse_length, parse_number


@dataclass(frozen=True, slots=True)
class Refused:
    """The words to show beside each field that can't be taken, in the order of the page."""

    problems: Mapping[str, str]


@dataclass(slots=True)
class Fields:
    """Reads raw fields one by one and collects what is wrong with them."""

    raw: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    def refuse(self, name: str, words: str) -> None:
        """Note a problem; the first one about a field stands."""
        self.problems.setdefault(name, words)

    def text(self, name: str, *, needed: str = "", limit: int = 200) -> str:
        """Read words; `needed` says in words what is missing when they are."""
        value = self.raw.get(name, "").replace("\r\n", "\n").replace("\x00", "").strip()
        if needed and not value:
            self.refuse(name, needed)
        if len(value) > limit:
            self.refuse(
                name, f"That is {len(value)} characters long; at most {limit} can be kept here."
            )
        return value

    def choice(self, name: str, allowed: Collection[str], *, words: str, default: str = "") -> str:
        """Read one of a table's keys."""
        value = self.raw.get(name, "").strip() or default
        if value not in allowed:
            self.refuse(name, words)
        return value

    def flag(self, name: str) -> bool:
        """Read a tick box."""
        return bool(self.raw.get(name, "").strip())

    def number_of(self, name: str, *, needed: str = "") -> int | None:
        """Read a record's number or a count: digits only."""
        value = self.raw.get(name, "").strip()
        if not value:
            if needed:
                self.refuse(name, needed)
            return None
        if not re.fullmatch(r"[0-9]{1,9}", value):
            self.refuse(name, f"“{value[:40]}” is not a whole number.")
            return None
        return int(value)

    def date(self, name: str, *, needed: str = "") -> date | None:
        """Read a date written 2026-11-25 (as date fields send it) or 25.11.2026."""
        value = self.raw.get(name, "").strip()
        if not value:
            if needed:
                self.refuse(name, needed)
            return None
        try:
            if match := re.fullmatch(r"([0-9]{1,2})\.\s?([0-9]{1,2})\.\s?([0-9]{4})", value):
                day, month, year = map(int, match.groups())
                found = date(year, month, day)
            else:
                found = date.fromisoformat(value)
            if not 1900 <= found.year <= 2200:
                raise ValueError
        except ValueError:
            self.refuse(name, f"“{value[:40]}” is not a date. Write it like 2026-11-25.")
            return None
        return found

    def length_mm(self, name: str, scale: Scale) -> float | None:
        """Read a length on a scale, in mm; empty is None."""
        value = self.raw.get(name, "")
        if not value.strip():
            return None
        try:
            return parse_length(value, scale)
        except NotANumber as error:
            self.refuse(name, str(error))
            return None

    def money_minor(self, name: str) -> int | None:
        """Read an amount with at most two decimals as minor units, exactly; empty is None."""
        value = self.raw.get(name, "").strip()
        if not value:
            return None
        try:
            amount = parse_number(value) * 100
        except NotANumber:
            self.refuse(name, f"“{value[:40]}” is not an amount. Write it like 85 or 85.50.")
            return None
        if amount.denominator != 1:
            self.refuse(name, f"“{value[:40]}” has more than two decimals.")
            return None
        if amount > Fraction(10**11):
            self.refuse(name, f"“{value[:40]}” is more than can be kept here.")
            return None
        return int(amount)

    def refused(self) -> Refused | None:
        """Give all problems, if there are any."""
        return Refused(dict(self.problems)) if self.problems else None


def format_money(minor: int | None, currency: str) -> str:
    """Write minor units as an amount with its currency."""
    if minor is None:
        return ""
    sign = "−" if minor < 0 else ""
    return f"{sign}{abs(minor) // 100:,}.{abs(minor) % 100:02d} {currency}".replace(",", "\u202f")


def format_amount(minor: int | None) -> str:
    """Write minor units as they would be typed: 85.50."""
    return "" if minor is None else f"{minor // 100}.{minor % 100:02d}"


def format_date(day: date | None) -> str:
    """Write a date as people say it: 25 November 2026."""
    return "" if day is None else f"{day.day} {day:%B %Y}"


def shorten(text: str, most: int) -> str:
    """Cut a text at a word so that it has at most `most` letters, and show that it was cut."""
    if len(text) <= most:
        return text
    return f"{text[: most - 1].rsplit(maxsplit=1)[0]} …"


def plural(count: int, one: str, many: str = "") -> str:
    """Count things in words: 1 stroke, 2 strokes."""
    return f"{count} {one if count == 1 else many or one + 's'}"
