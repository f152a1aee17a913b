"""What the one comparison says in sentences: of a piece before and after, or beside another."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.core.compare.comparison import Change, Comparison, Joint
from app.core.compare.differences import ReadSet
from app.core.compare.length_words import label_reading
from app.core.compare.table_profiles import judge_table, say_doubt, say_table
from app.core.facing.evenness import BLADE_KEYS_PER_MM, blade_key
from app.core.values.forms import plural
from app.core.values.lengths import LENGTHS
from app.core.values.readings import ReadingEntry
from app.core.values.uncertainty import expanded
from app.core.values.units import format_blade, format_mm

MOST_TOLD = 3
UNPLACED = "the readings together differ by more than the gauges do, though no single one does"
REST_IS_SAME = "The other readings show nothing that the gauges can tell apart."
NOTHING_IN_COMMON = "Nothing was read both times, so it can’t be told."
IT_HAS_CHANGED = ("It has changed", "Nothing has changed that the gauges can tell.")
# said after “The tip was shortened …”
IT_HAS_CHANGED_BESIDE = (
    "Beside that it has changed",
    "Beside that nothing has changed that the gauges can tell.",
)
THEY_DIFFER = (
    "Beside the first, in the second",
    "They do not differ as far as the gauges can tell.",
)
IT_HAS_MOVED = ("It has moved", "It came back as it left: no change the gauges can tell.")


class Finding(StrEnum):
    """What a comparison comes to."""

    SAME = "same"
    MOVED = "moved"
    DOUBT = "doubt"  # nothing else has moved, but a reading is to be taken again
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Told:
    """A comparison in words: its finding, one sentence, what that rests on and leaves out."""

    finding: Finding
    words: str
    basis: str
    left_out: str


def tell_comparison(
    compared: Comparison, leads: tuple[str, str] = IT_HAS_CHANGED, *, most: int = MOST_TOLD
) -> Told:
    """Say what has changed, the tip first; `leads` begin the sentence, or say that nothing has."""
    left_out = _say_left_out(compared)
    if not compared.changes:
        return Told(Finding.NOTHING, NOTHING_IN_COMMON, "", left_out)
    basis = _say_basis(compared)
    if not compared.moved and compared.suspects:
        return Told(Finding.DOUBT, REST_IS_SAME, basis, left_out)
    if not compared.moved:
        return Told(Finding.SAME, leads[1], basis, left_out)
    moves = list_moves(compared)
    if len(moves) > most:
        moves = [*moves[:most], f"{len(moves) - most} more"]
    return Told(Finding.MOVED, f"{leads[0]}: {join_words(moves)}.", basis, left_out)


def join_words(parts: Sequence[str]) -> str:
    """Join parts of a sentence with commas and “and”."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def list_moves(compared: Comparison) -> list[str]:
    """Say each change that may be said, in half a sentence: tip, length, blades, other lengths."""
    changes = {change.key: change for change in compared.told}
    moves = [_say_tip(change) for change in changes.values() if change.quantity == "tip_opening"]
    length = changes.get(("facing_length",))
    if length:
        size = say_size(length)
        moves.append(f"the facing is {size} {'longer' if length.difference > 0 else 'shorter'}")
    moves += _say_stops(compared, length)
    moves += [_say_length(change) for change in changes.values() if change.quantity in LENGTHS]
    if compared.shifted:
        moves.append(_say_shift(compared.joint))
    if compared.unplaced:
        moves.append(UNPLACED)
    return moves


def _say_shift(joint: Joint) -> str:
    shift, u = joint.shift_mm or 0.0, joint.shift_u_mm or 0.0
    size = f"{format_mm(abs(shift))} ± {format_mm(expanded(u))} mm"
    return f"all stops together lie {size} {_way(shift)}, which no single one would show"


def say_joint(joint: Joint) -> str:
    """Say for a metrologist what stands behind the verdict on the facing as a whole."""
    if joint.p is None:
        return ""
    p = "below 0.001" if joint.p < 0.001 else f"{joint.p:.3f}"
    return (
        f"All of the facing together: χ² = {joint.chi_square:.1f} with "
        f"{plural(joint.dof, 'degree')} of freedom, p {p}."
    )


def say_size(change: Change) -> str:
    """Write how large a change is, with U."""
    return f"{format_mm(abs(change.difference))} ± {format_mm(change.expanded_uncertainty)} mm"


def _say_tip(change: Change) -> str:
    return f"the tip is {say_size(change)} {'more open' if change.difference > 0 else 'closer'}"


def _say_stops(compared: Comparison, length: Change | None) -> Iterator[str]:
    """Say the stops blade by blade; the facing length speaks for its own."""
    stops: dict[int, list[Change]] = {}
    for change in compared.told:
        if change.quantity == "position":
            stops.setdefault(blade_key(change.gap_mm or 0.0), []).append(change)
    said = blade_key(length.gap_mm or 0.0) if length else None
    for key in sorted(stops):
        changes = stops[key]
        alike = len({change.difference > 0 for change in changes}) == 1
        if key == said and alike:
            continue
        blade = f"the {format_blade(changes[0].gap_mm or 0.0)} blade stops"
        if len(changes) == 2 and abs(changes[0].difference - changes[1].difference) < 1e-6:
            yield f"{blade} {say_size(changes[0])} {_way(changes[0].difference)}"
            continue
        for change in changes:
            yield f"{blade} {say_size(change)} {_way(change.difference)} on the {change.rail} rail"


def _way(difference_mm: float) -> str:
    return "further from the tip" if difference_mm > 0 else "nearer the tip"


def _say_length(change: Change) -> str:
    quantity, rail, depth, name = change.key
    label = label_reading(
        ReadingEntry(str(quantity), str(rail), None, None, depth, "", "", 0.0, str(name))  # type: ignore[arg-type]
    )
    more = ("wider", "narrower") if quantity == "bore" else ("more", "less")
    way = more[0] if change.difference > 0 else more[1]
    return f"{label[0].lower()}{label[1:]} {say_size(change)} {way}"


def say_tables(
    sets: Sequence[ReadSet], names: Sequence[str] = ("Before: ", "After: ")
) -> Iterator[str]:
    """Say what the tables of sets are, where they were read, and what rests on those that rock."""
    for name, each in zip(names, sets, strict=True):
        if (table := judge_table(each.readings, each.told)) is not None:
            yield f"{name}{' '.join([say_table(table), *say_doubt(table, each.facing)])}"


def _say_basis(compared: Comparison) -> str:
    """Say what was read both times, and how small a change would not show."""
    tips = [change for change in compared.changes if change.quantity == "tip_opening"]
    stops = [change for change in compared.changes if change.quantity == "position"]
    others = [change for change in compared.changes if change.quantity in {*LENGTHS, "dial"}]
    read = ["the tip"] if tips else []
    unseen = [f"of the tip below {format_mm(tips[0].expanded_uncertainty)} mm"] if tips else []
    if stops:
        read.append(plural(len(stops), "blade reading"))
        most = max(change.expanded_uncertainty for change in stops)
        unseen.append(f"of a blade below {format_mm(most, 1)} mm along the glass")
    if others:
        read.append(plural(len(others), "other reading"))
    words = f"Read both times: {join_words(read)}."
    return f"{words} By itself a change {' or '.join(unseen)} would not show." if unseen else words


def _say_left_out(compared: Comparison) -> str:
    if not compared.suspects:
        return ""
    names = [
        f"{format_blade(key / BLADE_KEYS_PER_MM)} on the {rail} rail"
        for rail, key in sorted(compared.suspects, key=lambda stop: (stop[1], stop[0]))
    ]
    if len(names) == 1:
        return (
            f"Nothing is said from the reading with the {names[0]}: it fits the others worst and "
            "is to be taken again."
        )
    return (
        f"Nothing is said from the readings with the {join_words(names)}: they fit the others "
        "worst and are to be taken again."
    )
