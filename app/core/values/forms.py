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

from app.core.values.units import NotANumber, Scale, parse_length, parse_number

# Digits after the point that are not two, by currency code (ISO 4217, from memory).
_WITHOUT = ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND",
            "VUV", "XAF", "XOF", "XPF")  # fmt: skip
_THREE = ("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND")
MINOR_DIGITS: Mapping[str, int] = dict.fromkeys(_WITHOUT, 0) | dict.fromkeys(_THREE, 3)

Day = date  # inside `Fields` its method stands before the type


def minor_digits(currency: str) -> int:
    """Say how many digits an amount has after the point: two, unless the code says otherwise."""
    return MINOR_DIGITS.get(currency.strip().upper(), 2)


def as_number(text: str) -> int | None:
    """A record's number as a page sends it; None for any other text."""
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


@dataclass(frozen=True, slots=True)
class Refused:
    """The words to show beside each field that can't be taken, in the order of the page."""

    problems: Mapping[str, str]


@dataclass(slots=True)
class Fields:
    """Reads raw fields one by one and collects what is wrong with them.

    `currency` is the one that amounts are written in.
    """

    raw: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)
    currency: str = ""

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
                written = date(year, month, day)
            else:
                written = date.fromisoformat(value)
            if not 1900 <= written.year <= 2200:
                raise ValueError
        except ValueError:
            self.refuse(name, f"“{value[:40]}” is not a date. Write it like 2026-11-25.")
            return None
        return written

    def past_day(self, name: str, today: Day, what: str, came: Day | None = None) -> Day:
        """Read the day of something done, today if nothing is written: not ahead.

        `came` is the day the piece came, before which nothing was done to it; today is taken
        even then: the clock was set back, and the piece is here.
        """
        on = self.date(name) or today
        if on > today:
            self.refuse(name, f"{what} can't be dated in the future.")
        elif came is not None and on < min(came, today):
            self.refuse(name, f"{what} can't be before the piece came, {format_date(came)}.")
        return on

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
        """Read an amount as minor units of the currency, exactly; empty is None."""
        value = self.raw.get(name, "").strip()
        if not value:
            return None
        digits = minor_digits(self.currency)
        try:
            amount = parse_number(value) * 10**digits
        except NotANumber:
            written = "85" if digits == 0 else f"85 or {format_amount(8550, 'EUR')}"
            self.refuse(name, f"“{value[:40]}” is not an amount. Write it like {written}.")
            return None
        if amount.denominator != 1:
            most = {0: "no decimals", 2: "at most two decimals", 3: "at most three decimals"}
            said = f" {self.currency}" if self.currency else ""
            self.refuse(
                name, f"“{value[:40]}”: an amount in{said or ' this currency'} has {most[digits]}."
            )
            return None
        if amount > Fraction(10**11):
            self.refuse(name, f"“{value[:40]}” is more than can be kept here.")
            return None
        return int(amount)

    def refused(self) -> Refused | None:
        """All problems, if there are any."""
        return Refused(dict(self.problems)) if self.problems else None


def format_money(minor: int | None, currency: str) -> str:
    """Write minor units as an amount with its currency."""
    if minor is None:
        return ""
    sign, whole = "−" if minor < 0 else "", format_amount(abs(minor), currency)
    digits, point, rest = whole.partition(".")
    return f"{sign}{int(digits):,}{point}{rest} {currency}".replace(",", "\u202f")


def format_amount(minor: int | None, currency: str = "") -> str:
    """Write minor units as they would be typed: 85.50, or 8550 where there are no decimals."""
    if minor is None:
        return ""
    digits = minor_digits(currency)
    whole, rest = divmod(minor, 10**digits)
    return f"{whole}.{rest:0{digits}d}" if digits else str(whole)


def format_date(day: date | None) -> str:
    """Write a date as people say it: 25 November 2026."""
    return "" if day is None else f"{day.day} {day:%B %Y}"


def short_date(day: date) -> str:
    """Write a date where room is scarce: 25 Nov 2026."""
    return f"{day.day} {day:%b %Y}"


def shorten(text: str, most: int) -> str:
    """Cut a text at a word so that it has at most `most` letters, and show that it was cut."""
    if len(text) <= most:
        return text
    return f"{text[: most - 1].rsplit(maxsplit=1)[0]} …"


def plural(count: int, noun: str, many: str = "") -> str:
    """Count things in words: 1 stroke, 2 strokes."""
    return f"{count} {noun if count == 1 else many or noun + 's'}"
