"""What the player reads on a return card: three figures, a sentence each, and how to look after it.

Only what was read stands here, as it was read; what the gauges truly were belongs to the maker's
half. A sentence says no more than the comparison it comes from (`Told`).
"""

from calendar import month_name
from dataclasses import dataclass, replace
from datetime import date

from app.core.facing.evenness import CANNOT_TELL, EVEN, UNEVEN
from app.core.values.pieces import MATERIAL_CARE
from app.core.values.readings import FacingReadings
from app.core.values.units import Scale, format_number, format_on_scale

LITTLE_MM = 0.06  # below this a change of the tip is "a little"
MUCH_MM = 0.15  # and from here on "much"; our own words, no source
SAME = "The same as it came, as far as can be measured."
SAME_TOO = "No change that can be measured here either."
UNSURE = "It reads a little otherwise, but not by enough to be sure."
SAME_ALONE = "The facing has changed as a whole, but this figure by itself doesn’t show it."
# what holds for two figures is said once; of the second, that it holds there too
_SAID_AGAIN = {SAME: SAME_TOO, UNSURE: "So does this.", SAME_ALONE: "Nor does this one."}


@dataclass(frozen=True, slots=True)
class FrontFigure:
    """One large figure: before, after, and a sentence a musician understands."""

    label: str
    before: str
    after: str
    unit: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Told:
    """What the comparison lets a card say, in mm: nought where nothing changed that may be told.

    None where there is nothing to compare. `moved` is whether anything changed; `together` that
    `length_mm` is by how much all stops moved, which none shows alone; `as_whole` that the facing
    changed, whether a figure shows it or not; `doubted` that the length rests on a reading that is
    to be taken again; `unsure` names what differs by more than its own ±, though among so many
    figures that says nothing. `again`: a reading of either set is to be taken again. `shortened_mm`
    came off the tip: the length is then what it is on the table.
    """

    tip_mm: float | None = None
    length_mm: float | None = None
    moved: bool = False
    together: bool = False
    as_whole: bool = False
    doubted: bool = False
    unsure: frozenset[str] = frozenset()
    again: bool = False
    shortened_mm: float = 0.0


def list_figures(
    before: FacingReadings | None,
    after: FacingReadings | None,
    changes: Told,
    rails: tuple[str, str],
    scale: Scale,
) -> tuple[FrontFigure, ...]:
    """List tip, length and rails as far as they were read; `scale` is the tip wedge's."""
    figures: list[FrontFigure] = []
    for figure in (
        _tip_figure(before, after, changes, scale),
        _length_figure(before, after, changes),
        _rails_figure(*rails, changes),
    ):
        if figure is not None:
            again = figure.sentence in {earlier.sentence for earlier in figures}
            short = _SAID_AGAIN.get(figure.sentence, "")
            figures.append(replace(figure, sentence=short) if again else figure)
    return tuple(figures)


def _tip_figure(
    before: FacingReadings | None, after: FacingReadings | None, changes: Told, scale: Scale
) -> FrontFigure | None:
    came, went = (
        format_on_scale(facing.tip_opening_mm, scale)
        if facing is not None and facing.tip_opening_mm is not None
        else ""
        for facing in (before, after)
    )
    if not (came or went):
        return None
    if changes.tip_mm is None:
        sentence = _say_uncompared(went)
    elif changes.tip_mm == 0.0:
        sentence = _say_same(changes, "tip_opening")
    else:
        size = round(abs(changes.tip_mm), 6)
        much = "a little " if size < LITTLE_MM else "much " if size >= MUCH_MM else ""
        sentence = f"{much}{'more open' if changes.tip_mm > 0 else 'closer'} than it came."
    return FrontFigure("Tip opening", came, went, scale.unit or "mm", _begin(sentence))


def _say_same(changes: Told, quantity: str) -> str:
    # whether the whole has changed is asked without a tip that was shortened
    whole = changes.as_whole and not changes.shortened_mm
    return SAME_ALONE if whole else UNSURE if quantity in changes.unsure else SAME


def _begin(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]


def _length_figure(
    before: FacingReadings | None, after: FacingReadings | None, changes: Told
) -> FrontFigure | None:
    came, went = _length_of(before), _length_of(after)
    if not (came or went):
        return None
    if changes.doubted:
        sentence = "A reading is to be taken again before anything is said of it."
    elif changes.length_mm is None:
        sentence = _say_uncompared(went)
    elif changes.shortened_mm:
        sentence = _say_shortened(changes)
    elif changes.length_mm == 0.0:
        sentence = _say_same(changes, "facing_length")
    elif changes.together:
        sentence = _say_together(changes.length_mm)
    else:
        sentence = f"{'longer' if changes.length_mm > 0 else 'shorter'} than it came."
    return FrontFigure("Facing length", came, went, "mm", _begin(sentence))


def _say_together(shift_mm: float) -> str:
    way = "further from" if shift_mm > 0 else "nearer"
    return f"all blades together stop a little {way} the tip; the length alone doesn’t show it."


def _say_shortened(changes: Told) -> str:
    came_off = f"{format_number(changes.shortened_mm, 2)} mm came off the tip"
    if changes.as_whole and not changes.length_mm:
        return f"{came_off}, and more has changed, but this figure by itself doesn’t show it."
    if not changes.length_mm and "facing_length" in changes.unsure:
        return f"{came_off}; beside that it reads a little otherwise, too little to be sure."
    if not changes.length_mm:
        return f"{came_off}; the curve stands where it stood, as far as can be measured."
    if changes.together:
        return f"{came_off}; beside that {_say_together(changes.length_mm)}"
    way = "longer" if changes.length_mm > 0 else "shorter"
    return f"{came_off}; on the table the facing is {way} than it came."


def _length_of(facing: FacingReadings | None) -> str:
    """Write where the thinnest blade stopped: one number, or the two of rails that differ."""
    stops = [*facing.left, *facing.right] if facing else []
    if not stops:
        return ""
    thinnest = min(stop.gap_mm for stop in stops)
    numbers = dict.fromkeys(
        format_number(stop.position_mm, 2, least=1) for stop in stops if stop.gap_mm == thinnest
    )
    return "/".join(numbers)


def _say_uncompared(went: str) -> str:
    if went:
        return "This is how it measures now; there is nothing earlier to compare it with."
    return "This is how it measured when it came."


_RAIL_WORDS = {EVEN: "even", UNEVEN: "uneven", CANNOT_TELL: "unclear"}


def _rails_figure(before: str, after: str, changes: Told) -> FrontFigure | None:
    if after not in _RAIL_WORDS:
        return None
    far = "without a reading to be taken again" if changes.again else "as far as can be measured"
    sentence = {
        EVEN: f"Left and right lie alike, {far}.",
        UNEVEN: "Left and right still differ; that can make it choosy of reeds."
        if before == UNEVEN
        else "Left and right differ; that can make it choosy of reeds.",
        CANNOT_TELL: "Left and right may differ a little; the gauges can’t settle it.",
    }[after]
    if after == EVEN and before == UNEVEN and changes.moved:
        sentence = f"Left and right differed; now they lie alike, {far}."
    return FrontFigure("Rails", _RAIL_WORDS.get(before, ""), _RAIL_WORDS[after], "", sentence)


def say_care(material: str, shop_words: str) -> tuple[str, ...]:
    """Say how to look after it: the shop's own words, then what its material asks for."""
    return tuple(text for text in (" ".join(shop_words.split()), MATERIAL_CARE[material]) if text)


def say_again(today: date, months: int | None) -> str:
    """Say when to have it looked at again; nothing where the shop sets no time."""
    if not months:
        return ""
    year, month = divmod(today.year * 12 + today.month - 1 + months, 12)
    return (
        f"Have it looked at again around {month_name[month + 1]} {year}, or sooner if reeds that "
        "used to work no longer do."
    )
