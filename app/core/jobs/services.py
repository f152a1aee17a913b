"""The price list: what the shop does and what it costs, by family of instruments and material."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from app.core.gauges.blade_sets import FAMILIES, family_of
from app.core.values.forms import Fields, Refused
from app.core.values.pieces import MATERIALS

MORE_LINES = 4  # empty ones below the list


@dataclass(frozen=True, slots=True)
class ServiceEntry:
    """A line of the price list; an empty family or material is for all that have no own line."""

    label: str
    family: str
    material: str
    price_minor: int
    retired: bool = False


@dataclass(frozen=True, slots=True)
class Offer:
    """What a service costs: from the least to the most over the lines that may be meant."""

    label: str
    least_minor: int
    most_minor: int


def parse_services(
    raw: Mapping[str, str], ids: Collection[int], currency: str
) -> dict[str, ServiceEntry] | Refused:
    """Read the page of prices: its lines by their mark, an id or `new` and a count.

    A new line without a label and a price is left out; two lines for the same are refused.
    """
    fields = Fields(raw, currency=currency)
    marks = [*map(str, ids), *(f"new{at}" for at in range(MORE_LINES))]
    entries: dict[str, ServiceEntry] = {}
    for mark in marks:
        if mark.startswith("new") and not (raw.get(f"label_{mark}") or raw.get(f"price_{mark}")):
            continue
        entries[mark] = _read_line(fields, mark)
    seen: dict[tuple[str, str, str], str] = {}
    for mark, entry in entries.items():
        key = entry.label.casefold(), entry.family, entry.material
        if not entry.retired and seen.setdefault(key, mark) != mark:
            fields.refuse(f"label_{mark}", f"“{entry.label}” has a price for these already.")
    return fields.refused() or entries


def _read_line(fields: Fields, mark: str) -> ServiceEntry:
    price = fields.money_minor(f"price_{mark}")
    if price is None:
        fields.refuse(f"price_{mark}", "Write what it costs.")
    return ServiceEntry(
        " ".join(fields.text(f"label_{mark}", needed="Write what it is for.", limit=80).split()),
        fields.choice(f"family_{mark}", ("", *FAMILIES), words="Choose the instruments."),
        fields.choice(f"material_{mark}", ("", *MATERIALS), words="Choose the material."),
        price or 0,
        fields.flag(f"retired_{mark}"),
    )


def offer_services(
    services: Iterable[ServiceEntry], instrument_kind: str = "", material: str = ""
) -> list[Offer]:
    """List what may be picked, for one piece at its price, else from the least to the most."""
    by_label: dict[str, list[ServiceEntry]] = {}
    for line in services:
        by_label.setdefault(line.label.casefold(), []).append(line)
    offers = []
    for lines in by_label.values():
        if instrument_kind:
            best = _closest(lines, instrument_kind, material)
            lines = [best] if best else []
        if lines:
            prices = [line.price_minor for line in lines]
            offers.append(Offer(lines[0].label, min(prices), max(prices)))
    return offers


def price_of(
    services: Iterable[ServiceEntry], label: str, instrument_kind: str, material: str
) -> ServiceEntry | None:
    """Find the line for a piece: its family and material before its family, that before others."""
    named = [line for line in services if line.label.casefold() == label.casefold()]
    return _closest(named, instrument_kind, material)


def _closest(
    lines: Iterable[ServiceEntry], instrument_kind: str, material: str
) -> ServiceEntry | None:
    family = family_of(instrument_kind)
    fitting = (
        line for line in lines if line.family in {"", family} and line.material in {"", material}
    )
    return max(fitting, key=lambda line: (bool(line.family), bool(line.material)), default=None)
