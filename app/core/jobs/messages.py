"""Short letters to the player, in the shop's own wording with the job's facts filled in.

A wording is plain text with fields in braces, such as {customer}. Filling is by name only: what
stands in a fact is never read as a field again. A mailto address follows RFC 6068: everything
percent-encoded in UTF-8, line breaks as CR LF.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import quote

from app.core.values.forms import Fields, Refused

FIELDS: dict[str, str] = {
    "customer": "the customer’s name",
    "piece": "the piece as it is stamped",
    "job": "the job’s number",
    "readings": "the readings as received, as your notebook has them",
    "asked": "what the player asked for",
    "agreed": "what was agreed",
    "price": "what it comes to",
    "deposit": "the deposit asked for",
    "balance": "what is left to pay",
    "wanted_by": "the day it is wanted",
    "dropped_off": "the day it came",
    "shop": "your shop’s name",
}
MOST_LETTERS = 3000
_FIELD = re.compile(r"\{([^{}\n]{0,40})\}")


@dataclass(frozen=True, slots=True)
class Wording:
    """How one kind of message is worded."""

    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class MessageKind:
    """A kind of message: its label and the wording a new book starts with."""

    key: str
    label: str
    usual: Wording


MESSAGE_KINDS: dict[str, MessageKind] = {
    kind.key: kind
    for kind in (
        MessageKind("as_received", "As received", Wording(
            "It came in (job {job})",
            "Dear {customer},\n\nyour {piece} came in on {dropped_off} as job {job}. "
            "As received: {readings}.\nYou asked for: {asked}\n\n"
            "I will write again with what I would do and what it costs.\n\n{shop}",
        )),
        MessageKind("estimate", "Estimate", Wording(
            "What I would do, and what it costs (job {job})",
            "Dear {customer},\n\nfor your {piece} I propose:\n{agreed}\n\nPrice: {price}. "
            "Deposit: {deposit}.\nMaterial can only be taken away, so please say yes before I "
            "begin.\n\n{shop}",
        )),
        MessageKind("asking", "After it went home", Wording(
            "How does it play? (job {job})",
            "Dear {customer},\n\nyou have had your {piece} back for a while. Is all as it should "
            "be when you play? You asked for: {asked}\n\nIf anything is not, tell me.\n\n{shop}",
        )),
        MessageKind("ready", "Ready", Wording(
            "Ready for you (job {job})",
            "Dear {customer},\n\nready for you: your {piece}. Left to pay: {balance}.\n"
            "Clean before you play: it comes from a bench.\n\n{shop}",
        )),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Message:
    """A message filled in, and its mailto address."""

    key: str
    label: str
    subject: str
    body: str
    mailto: str


def parse_wording(raw: Mapping[str, str], key: str) -> Wording | Refused:
    """Read one kind's wording; a field that doesn't exist is refused by its name."""
    fields = Fields(raw)
    wording = Wording(
        fields.text(f"{key}_subject", needed="Write the subject."),
        fields.text(f"{key}_body", needed="Write the text.", limit=MOST_LETTERS),
    )
    for name, text in ((f"{key}_subject", wording.subject), (f"{key}_body", wording.body)):
        unknown = [field for field in _FIELD.findall(text) if field not in FIELDS]
        if unknown:
            fields.refuse(name, f"There is no field {{{unknown[0]}}}. See the list of fields.")
        if "\n" in text and name.endswith("_subject"):
            fields.refuse(name, "A subject is one line.")
    return fields.refused() or wording


def fill_in(text: str, facts: Mapping[str, str]) -> str:
    """Fill a wording's fields in; a fact that isn't known is a dash."""
    return _FIELD.sub(lambda match: facts.get(match.group(1), match.group(0)) or "–", text)


def make_message(kind: MessageKind, wording: Wording, facts: Mapping[str, str], to: str) -> Message:
    """Fill a message in and address it."""
    subject = " ".join(fill_in(wording.subject, facts).split())
    body = fill_in(wording.body, facts)
    return Message(kind.key, kind.label, subject, body, write_mailto(to, subject, body))


def write_mailto(to: str, subject: str, body: str) -> str:
    """Write a mailto address (RFC 6068)."""
    lines = "\r\n".join(body.splitlines())
    address = quote(" ".join(to.split()), safe="@")
    return f"mailto:{address}?subject={quote(subject, safe='')}&body={quote(lines, safe='')}"
