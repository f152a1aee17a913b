"""Text to number and number to text, for every field and every page.

A workshop writes the same number in many ways: 22.5, 22,5, 22½, 22 1/2. All are read exactly,
as fractions, and become millimetres only at the end, so that thousandths of an inch come back
as they went in. 1 in = 25.4 mm exactly (international inch, 1959).
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import floor, log10

MM_PER_INCH = Fraction(254, 10)

_VULGAR = {
    "¼": Fraction(1, 4),
    "½": Fraction(1, 2),
    "¾": Fraction(3, 4),
    "⅛": Fraction(1, 8),
    "⅜": Fraction(3, 8),
    "⅝": Fraction(5, 8),
    "⅞": Fraction(7, 8),
}
_UNITS = {
    "mm": Fraction(1),
    "millimetre": Fraction(1),
    "millimetres": Fraction(1),
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "”": MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
}
_UNIT_ENDING = re.compile(r"\s*(" + "|".join(sorted(map(re.escape, _UNITS), key=len)[::-1]) + r")$")
LONGEST_CELL = 60  # letters: more is no number, and no pattern looks at it
_DECIMAL = re.compile(r"([0-9]{1,9})?(?:[.,]([0-9]{1,9}))?")
_WITH_FRACTION = re.compile(r"(?:([0-9]{1,9})[\s-])?([0-9]{1,3})\s*[/⁄]\s*([0-9]{1,3})")


@dataclass(frozen=True, slots=True)
class Scale:
    """How one gauge is engraved: `mm_per_unit` exactly, `step` in its own units.

    `step` is the finest difference a careful eye reads on it; half of it is the half-width of
    the rectangular distribution of the resolution (GUM 4.3.7).
    """

    key: str
    measures: str
    label: str
    unit: str
    example: str
    mm_per_unit: Fraction
    step: Fraction
    decimals: int

    def __hash__(self) -> int:
        """Tell scales apart by their key: exact fractions take long to hash."""
        return hash(self.key)

    @property
    def step_mm(self) -> float:
        """The finest readable difference, in mm."""
        return float(self.step * self.mm_per_unit)


SCALES: dict[str, Scale] = {
    scale.key: scale
    for scale in (
        Scale("glass_half_mm", "glass", "half-millimetre numbers", "", "36 is 18.0 mm",
              Fraction(1, 2), Fraction(1, 2), 2),
        Scale("glass_mm", "glass", "whole millimetres", "mm", "18 is 18.0 mm",
              Fraction(1), Fraction(1, 4), 2),
        Scale("tip_mm", "tip", "hundredths of a millimetre", "mm", "1.07 is 1.07 mm",
              Fraction(1), Fraction(1, 100), 2),
        Scale("tip_thou", "tip", "thousandths of an inch", "thou", "43 is 0.043 in",
              MM_PER_INCH / 1000, Fraction(1), 1),
        Scale("bore_in", "bore", "inches", "in", "0.591 is 15.01 mm",
              MM_PER_INCH, Fraction(1, 1000), 3),
        Scale("bore_mm", "bore", "millimetres", "mm", "15.01 is 15.01 mm",
              Fraction(1), Fraction(1, 50), 2),
        Scale("length_mm", "length", "millimetres", "mm", "12.5 is 12.5 mm",
              Fraction(1), Fraction(1, 100), 2),
        Scale("length_in", "length", "inches", "in", "0.492 is 12.5 mm",
              MM_PER_INCH, Fraction(1, 1000), 3),
    )
}  # fmt: skip


class NotANumber(ValueError):  # noqa: N818 - it is what the maker typed, named as they would
    """The text is not one plain number; the message says why, in words for the page."""


def scales_for(measures: str) -> list[Scale]:
    """List the scales on which one kind of gauge may be engraved."""
    return [scale for scale in SCALES.values() if scale.measures == measures]


def refuse_long(text: str) -> None:
    """Raise NotANumber where a text is longer than any number is written."""
    if len(text) > LONGEST_CELL:
        raise NotANumber(f"“{text[:12]}…” is {len(text)} letters long; that is not one number.")


def parse_number(text: str) -> Fraction:
    """Read one plain non-negative number exactly; raise NotANumber with the reason in words."""
    refuse_long(text)
    shown = " ".join(text.replace(" ", " ").replace("\u202f", " ").split())
    if not shown:
        raise NotANumber("Nothing is written here.")
    for sign, part in _VULGAR.items():
        if shown.endswith(sign):
            whole = shown[: -len(sign)].strip()
            if whole and not re.fullmatch("[0-9]{1,9}", whole):
                raise NotANumber(f"“{shown}” is not a number. Write it like 22.5 or 22½.")
            return (Fraction(int(whole)) if whole else Fraction(0)) + part
    if match := _WITH_FRACTION.fullmatch(shown):
        whole, over, under = match.groups()
        if int(under) == 0:
            raise NotANumber(f"“{shown}” divides by zero.")
        if whole is None:
            raise NotANumber(
                f"“{shown}” could be a fraction or two rails. Write 0.5 for a half; "
                "left and right go in separate cells."
            )
        return int(whole) + Fraction(int(over), int(under))
    if match := _DECIMAL.fullmatch(shown):
        before, after = match.group(1) or "", match.group(2) or ""
        if before or after:
            return Fraction(int(before + after), 10 ** len(after))
    raise NotANumber(_reason(shown))


def _reason(shown: str) -> str:
    if shown[0] in "-−–":
        return f"“{shown}” is below zero; a gauge can't read that."
    if re.fullmatch(r"[0-9]{10,}", shown):
        return f"“{shown[:12]}…” has more digits than any gauge shows."
    if re.fullmatch(r"[0-9]+[.,]", shown):
        return f"“{shown}” ends in a separator. Write it like 22 or 22.5."
    if re.fullmatch(r"[0-9.,\s']+", shown):
        return f"“{shown}” has more than one separator. Write it like 1234.5, without thousands."
    if re.fullmatch(r"[0-9.,]+[eE][+-]?[0-9]+", shown):
        return f"“{shown}” is written with an exponent. Write the number out."
    return f"“{shown}” is not a number. Write it like 22.5, 22,5 or 22½."


def parse_length(text: str, scale: Scale) -> float:
    """Read a length as written on `scale` and give it in mm; a unit at the end overrules the scale.

    Raises NotANumber with the reason in words.
    """
    refuse_long(text)
    shown = text.strip().lower()
    factor = scale.mm_per_unit
    if match := _UNIT_ENDING.search(shown):
        factor = _UNITS[match.group(1)]
        shown = shown[: match.start()]
    return float(parse_number(shown) * factor)


def to_scale(value_mm: float, scale: Scale) -> float:
    """A length in mm in the scale's own units."""
    return float(Fraction(value_mm).limit_denominator(10**9) / scale.mm_per_unit)


def format_number(value: float, decimals: int, *, least: int = 0) -> str:
    """Write a number with at most `decimals` places and at least `least`, with a true minus."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        whole, part = text.split(".")
        part = part.rstrip("0").ljust(least, "0")
        text = f"{whole}.{part}" if part else whole
    if text.lstrip("-").strip("0.") == "":
        text = text.lstrip("-")
    return text.replace("-", "−")


@lru_cache(maxsize=4096)  # lists write the same few numbers again and again
def format_on_scale(value_mm: float, scale: Scale) -> str:
    """Write a length as the gauge shows it, without its unit."""
    least = scale.decimals if scale.measures in {"tip", "bore"} and scale.unit != "thou" else 0
    return format_number(to_scale(value_mm, scale), scale.decimals, least=least)


def format_mm(value_mm: float, decimals: int = 2) -> str:
    """Write a length in mm with a fixed number of places, without its unit."""
    return format_number(value_mm, decimals, least=decimals)


def format_signed(value: float, decimals: int) -> str:
    """Write a difference with its sign; nothing is "+0"."""
    text = format_number(value, decimals, least=decimals)
    return text if text.startswith("−") or not text.strip("0.") else f"+{text}"


@lru_cache(maxsize=512)
def format_blade(gap_mm: float) -> str:
    """Write a blade's thickness as it is engraved: inches where it is a whole ten-thousandth.

    >>> format_blade(0.0381), format_blade(0.05)
    ('0.0015 in', '0.05 mm')
    """
    inches = Fraction(gap_mm).limit_denominator(10**7) / MM_PER_INCH
    tenths = inches * 10000
    if abs(tenths - round(tenths)) < Fraction(1, 10**4) and round(tenths) % 5 == 0:
        text = f"{round(tenths) / 10000:.4f}"
        return f"{text[:-1] if text.endswith('0') else text} in"
    return f"{format_number(gap_mm, 4, least=2)} mm"


def format_u(u_mm: float) -> str:
    """Write an uncertainty with two significant digits (GUM 7.2.6)."""
    if u_mm <= 0:
        return "0"
    return f"{u_mm:.{min(max(1 - floor(log10(u_mm)), 0), 6)}f}"
