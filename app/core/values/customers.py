"""Whose pieces they are: a customer and the instruments they play."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.values.forms import Fields, Refused

INSTRUMENT_KINDS: dict[str, str] = {
    "clarinet_ab": "A♭ clarinet",
    "clarinet_eb": "E♭ clarinet",
    "clarinet_d": "D clarinet",
    "clarinet_c": "C clarinet",
    "clarinet_bb": "B♭ or A clarinet",
    "clarinet_basset": "basset clarinet",
    "basset_horn": "basset horn",
    "clarinet_alto": "alto clarinet",
    "clarinet_bass": "bass clarinet",
    "clarinet_contra_alto": "contra-alto clarinet",
    "clarinet_contra": "contrabass clarinet",
    "sax_sopranino": "sopranino saxophone",
    "sax_soprano": "soprano saxophone",
    "sax_alto": "alto saxophone",
    "sax_c_melody": "C-melody saxophone",
    "sax_tenor": "tenor saxophone",
    "sax_baritone": "baritone saxophone",
    "sax_bass": "bass saxophone",
    "sax_contrabass": "contrabass saxophone",
    "other": "other",
}


def has_tenon(instrument_kind: str) -> bool:
    """Say whether a piece ends in a tenon with cork or rings; a saxophone's cork is on the neck."""
    return not instrument_kind.startswith("sax_")


@dataclass(frozen=True, slots=True)
class CustomerEntry:
    """A customer as typed."""

    name: str
    phone: str
    email: str
    address: str
    plays: str
    notes: str


@dataclass(frozen=True, slots=True)
class InstrumentEntry:
    """The horn the piece is played on, as typed."""

    kind: str
    maker: str
    model: str


def read_customer(fields: Fields, prefix: str = "") -> CustomerEntry:
    """Read a customer's fields; problems are left in `fields`."""
    email = fields.text(f"{prefix}email", limit=200)
    if email and ("@" not in email.strip("@") or " " in email):
        fields.refuse(f"{prefix}email", f"“{email}” is not an e-mail address.")
    return CustomerEntry(
        name=fields.text(f"{prefix}name", needed="Write the customer's name."),
        phone=fields.text(f"{prefix}phone", limit=80),
        email=email,
        address=fields.text(f"{prefix}address", limit=1000),
        plays=fields.text(f"{prefix}plays"),
        notes=fields.text(f"{prefix}notes", limit=5000),
    )


def parse_customer(raw: Mapping[str, str]) -> CustomerEntry | Refused:
    """Read a customer's own page."""
    fields = Fields(raw)
    entry = read_customer(fields)
    return fields.refused() or entry


def read_instrument(fields: Fields, prefix: str = "") -> InstrumentEntry:
    """Read an instrument's fields; problems are left in `fields`."""
    return InstrumentEntry(
        kind=fields.choice(
            f"{prefix}kind", INSTRUMENT_KINDS, words="Choose the kind of instrument."
        ),
        maker=fields.text(f"{prefix}maker"),
        model=fields.text(f"{prefix}model"),
    )
