"""The kinds of paper the shop issues."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SlipKind:
    """A kind of paper: its label and its template."""

    key: str
    label: str
    template: str


SLIP_KINDS: dict[str, SlipKind] = {
    kind.key: kind
    for kind in (
        SlipKind("intake_slip", "Intake slip", "slips/intake_slip.html"),
        SlipKind("return_card", "Return card", "slips/return_card.html"),
    )
}
