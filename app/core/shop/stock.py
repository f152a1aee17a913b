"""What the shop keeps to work with: how many there are, and when that is too few."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.values.forms import Fields, Refused


@dataclass(frozen=True, slots=True)
class StockEntry:
    """A line of the stock as typed; `warn_at` is the count that is too few, None for no warning."""

    name: str
    count: int
    warn_at: int | None
    note: str


def parse_stock(raw: Mapping[str, str]) -> StockEntry | Refused:
    """Read a line of the stock; a count below nothing is refused."""
    fields = Fields(raw)
    count = raw.get("count", "").strip()
    if count.startswith(("-", "−")):
        fields.refuse("count", f"There can’t be {count[:12]} of anything. Count what is there.")
    entry = StockEntry(
        fields.text("name", needed="Write what it is.", limit=120),
        fields.number_of("count", needed="Write how many there are.") or 0,
        fields.number_of("warn_at"),
        fields.text("note"),
    )
    return fields.refused() or entry


def parse_move(raw: Mapping[str, str], there: int) -> int | Refused:
    """Read how many were taken or came, and give how many there are then."""
    fields = Fields(raw)
    moved = fields.number_of("moved", needed="Write how many.") or 0
    left = there - moved if raw.get("do") == "take" else there + moved
    if left < 0:
        fields.refuse("moved", f"There are {there}: {moved} can’t be taken. Count them again.")
    return fields.refused() or left
