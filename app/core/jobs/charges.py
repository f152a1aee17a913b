"""What a job costs and what was paid: exact sums in minor units, and no accounting.

The agreed price is the bill's first line, and works and charges add to it. A line struck out stays
readable and does not count.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from app.core.jobs.memos import ANSWERS, MemoEntry
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
    charged_on: date


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


def add_up(charges_minor: Sequence[int], payments_minor: Sequence[int]) -> Account:
    """Add what is charged, agreed prices among it, and what was paid; no total without a charge."""
    return Account(sum(charges_minor) if charges_minor else None, sum(payments_minor))


def share_of_tax(total_minor: int, percent: float) -> int:
    """Say how much of a total that holds a tax is that tax, rounded to the smallest coin."""
    return round(Fraction(str(percent)) * total_minor / (100 + Fraction(str(percent))))


def parse_charge(raw: Mapping[str, str], today: date, currency: str = "") -> ChargeEntry | Refused:
    """Read a line of the bill."""
    fields = Fields(raw, currency=currency)
    sign = fields.choice("charge_kind", CHARGE_SIGNS, words="Charged or taken off?")
    amount = _amount(fields, "charge_amount")
    label = fields.text("charge_label", needed="Write what it is for.")
    on = fields.past_day("charged_on", today, "A charge")
    return fields.refused() or ChargeEntry(label, amount * CHARGE_SIGNS[sign][1], on)


def parse_payment(
    raw: Mapping[str, str], today: date, currency: str = ""
) -> PaymentEntry | Refused:
    """Read a payment."""
    fields = Fields(raw, currency=currency)
    kind = fields.choice("payment_kind", PAYMENT_SIGNS, words="Say what kind of payment it is.")
    amount = _amount(fields, "payment_amount")
    paid_on = fields.past_day("paid_on", today, "A payment")
    way = fields.text("payment_way", limit=80)
    return fields.refused() or PaymentEntry(paid_on, kind, way, amount * PAYMENT_SIGNS[kind][1])


def _amount(fields: Fields, name: str) -> int:
    amount = fields.money_minor(name)
    if amount is None:
        fields.refuse(name, "Write the amount.")
    elif amount == 0:
        fields.refuse(name, "An amount of nothing can't be kept.")
    return amount or 0


ANSWERED_BY = {
    "message": "by message", "telephone": "by telephone", "letter": "by letter",
    "person": "in person",
}  # fmt: skip


def parse_quote(raw: Mapping[str, str], today: date, amount: str) -> MemoEntry | Refused:
    """Read a quote of an amount: the day it was told and until when it is good."""
    fields = Fields(raw)
    quoted_on = fields.past_day("quoted_on", today, "A quote")
    good_until = fields.date("good_until")
    if good_until and good_until < quoted_on:
        fields.refuse("good_until", "A quote can't end before the day it was told.")
    if not amount:
        fields.refuse("quoted_on", "Nothing has a price yet: add a line or agree a price first.")
    return fields.refused() or MemoEntry("quote", quoted_on, good_until, {"amount": amount})


@dataclass(frozen=True, slots=True)
class AnswerEntry:
    """What was answered to a quote, on which day and by what means."""

    answered_on: date
    answer: str
    by: str


def parse_answer(raw: Mapping[str, str], today: date, quoted_on: date) -> AnswerEntry | Refused:
    """Read the answer to a quote."""
    fields = Fields(raw)
    on = fields.past_day("answered_on", today, "An answer")
    if on < quoted_on:
        fields.refuse("answered_on", "It can't be answered before it was told.")
    entry = AnswerEntry(
        on,
        fields.choice("answer", ANSWERS, words="Accepted or declined?"),
        fields.choice("answered_by", ANSWERED_BY, words="Say how it was answered."),
    )
    return fields.refused() or entry
