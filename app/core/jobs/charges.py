"""What a job costs and what was paid: exact sums in minor units, and no accounting.

Lines are added up where there are any; until then the agreed price stands. A line struck out
stays readable and does not count.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from app.core.values.forms import Fields, Refused

CHARGE_SIGNS: dict[str, tuple[str, int]] = {"charge": ("charged", 1), "discount": ("taken off", -1)}
PAYMENT_SIGNS: dict[str, tuple[str, int]] = {
    "deposit": ("deposit", 1),
    "payment": ("payment", 1),
    "refund": ("paid back", -1),
}


@dataclass(frozen=True, slots=True)
class ChargeEntry:
    """A line of the bill; what is taken off is below zero."""

    label: str
    amount_minor: int


@dataclass(frozen=True, slots=True)
class PaymentEntry:
    """A payment; what was paid back is below zero."""

    paid_on: date
    kind: str
    way: str
    amount_minor: int


@dataclass(frozen=True, slots=True)
class Account:
    """A job's sums: what it comes to, what was paid, what is left (below zero: to pay back)."""

    total_minor: int | None
    paid_minor: int
    from_lines: bool

    @property
    def balance_minor(self) -> int | None:
        """What is still to be paid; None while no price is known."""
        return None if self.total_minor is None else self.total_minor - self.paid_minor

    @property
    def settled(self) -> bool:
        """Whether all is paid."""
        return self.balance_minor == 0

    def say_balance(self) -> str:
        """Name the balance: to pay, paid in full, or to pay back."""
        balance = self.balance_minor
        if balance is None:
            return "no price yet"
        return "paid in full" if balance == 0 else "to pay" if balance > 0 else "to pay back"


def add_up(
    charges_minor: Sequence[int], payments_minor: Sequence[int], agreed_minor: int | None
) -> Account:
    """Add up the standing lines, or take the agreed price where there are none."""
    lines = bool(charges_minor)
    return Account(sum(charges_minor) if lines else agreed_minor, sum(payments_minor), lines)


def share_of_tax(total_minor: int, percent: float) -> int:
    """Say how much of a total that holds a tax is that tax, rounded to the smallest coin."""
    return round(Fraction(str(percent)) * total_minor / (100 + Fraction(str(percent))))


def parse_charge(raw: Mapping[str, str], currency: str = "") -> ChargeEntry | Refused:
    """Read a line of the bill."""
    fields = Fields(raw, currency=currency)
    sign = fields.choice("charge_kind", CHARGE_SIGNS, words="Charged or taken off?")
    amount = _amount(fields, "charge_amount")
    label = fields.text("charge_label", needed="Write what it is for.")
    return fields.refused() or ChargeEntry(label, amount * CHARGE_SIGNS[sign][1])


def parse_payment(
    raw: Mapping[str, str], today: date, currency: str = ""
) -> PaymentEntry | Refused:
    """Read a payment."""
    fields = Fields(raw, currency=currency)
    kind = fields.choice("payment_kind", PAYMENT_SIGNS, words="Say what kind of payment it is.")
    amount = _amount(fields, "payment_amount")
    paid_on = fields.date("paid_on") or today
    if paid_on > today:
        fields.refuse("paid_on", "A payment can't be dated in the future.")
    way = fields.text("payment_way", limit=80)
    return fields.refused() or PaymentEntry(paid_on, kind, way, amount * PAYMENT_SIGNS[kind][1])


def _amount(fields: Fields, name: str) -> int:
    amount = fields.money_minor(name)
    if amount is None:
        fields.refuse(name, "Write the amount.")
    elif amount == 0:
        fields.refuse(name, "An amount of nothing can't be kept.")
    return amount or 0
