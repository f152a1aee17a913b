"""Other lengths between two reading sets, over the years, and the bore's taper in words.

The gauge behind such a length is often not known, so its uncertainty starts from what was written
down: the last place, or the scale's step where that is coarser. Resolution alone would call every
difference of one step a change, which no hand can stand for; without a study of its own, a hand
is taken to repeat a reading to half a step (our assumption, no source). The bore is read on an
engraved gauge of the register: its values and uncertainties are those of its checks and studies.
So are those taken with a dial or calliper that the page named (`hand_gauges`).
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot

from app.core.compare.bore import BorePoint, BoreTaper, fit_bore
from app.core.compare.comparison import Change
from app.core.facing.corrections import ToldReading
from app.core.gauges.hand_gauges import ENGRAVED, HAND_STEPS, step_of
from app.core.values.lengths import LENGTHS, is_length, length_key
from app.core.values.readings import ReadingEntry, Uncertainties
from app.core.values.uncertainty import expanded, rectangular
from app.core.values.units import format_mm, format_number


def reading_u(reading: ReadingEntry) -> float:
    """Give a reading's standard uncertainty in mm (or ml): its resolution and a careful hand.

    u² = (step/2)²/3 + (step/2)²: a rectangular distribution (GUM 4.3.7), and the hand.
    """
    if reading.quantity == "dial":
        return Uncertainties().dial_gap_mm
    step = step_of(reading)
    return hypot(rectangular(step / 2), HAND_STEPS * step)


def label_reading(reading: ReadingEntry) -> str:
    """Name what was read, in the trade's words."""
    if reading.quantity == "dial":
        return f"Gap by dial at {format_number(reading.depth_mm or 0.0, 2)} mm, {reading.rail}"
    if reading.quantity == "bore":
        if not reading.depth_mm:
            return "Exit bore"
        return f"Bore at {format_number(reading.depth_mm, 2)} mm"
    if reading.name:
        return reading.name[0].upper() + reading.name[1:]
    label = LENGTHS[reading.quantity].label
    if reading.depth_mm is not None:
        return f"{label} at {format_number(reading.depth_mm, 2)} mm"
    return f"{label}, {reading.rail}" if reading.rail else label


def unit_of(reading: ReadingEntry) -> str:
    """Give the unit of the kept value: mm, or ml for a volume."""
    length = LENGTHS.get(reading.quantity)
    return length.unit if length else "mm"


def show_reading(reading: ReadingEntry) -> str:
    """Write the kept value with its unit."""
    places = 3 if reading.quantity == "dial" else 2
    return f"{format_mm(reading.value_mm, places)} {unit_of(reading)}"


@dataclass(frozen=True, slots=True)
class TrueLengths:
    """A set's readings by what their gauges really were, and the standard uncertainty of each."""

    readings: tuple[ReadingEntry, ...]
    u_mm: tuple[float, ...]


def take_as_typed(
    readings: Sequence[ReadingEntry], u_of: Callable[[ReadingEntry], float] = reading_u
) -> TrueLengths:
    """Take readings at their word, each as sure as `u_of` says."""
    return TrueLengths(tuple(readings), tuple(map(u_of, readings)))


def tell_lengths(readings: Sequence[ReadingEntry], told: Sequence[ToldReading]) -> TrueLengths:
    """Take what the register knows of the gauge a reading was taken with, else take its word."""
    pairs = [
        (replace(one, value_mm=true.value_mm), true.u_mm)
        if one.quantity in ENGRAVED or (is_length(one) and one.gauge_id is not None)
        else (one, reading_u(one))
        for one, true in zip(readings, told, strict=True)
    ]
    return TrueLengths(tuple(one for one, _ in pairs), tuple(u for _, u in pairs))


@dataclass(frozen=True, slots=True)
class LengthPair:
    """One quantity in two sets; either reading may be missing, and then so is the change."""

    label: str
    quantity: str
    before: ReadingEntry | None
    after: ReadingEntry | None
    change: Change | None


def make_change(
    quantity: str, rail: str | None, before: float, after: float, standard_u: float
) -> Change:
    """Put a difference beside its expanded uncertainty (k = 2) and Eₙ."""
    difference, spread = after - before, expanded(standard_u)
    en = abs(difference) / spread
    return Change(quantity, None, rail, before, after, difference, spread, en, en > 1.0)


def pair_lengths(before: TrueLengths, after: TrueLengths) -> tuple[LengthPair, ...]:
    """Put the second part's readings of two sets side by side, in the order of the page."""
    sides = [_by_key(lengths.readings) for lengths in (before, after)]
    spreads = [
        dict(zip(map(id, lengths.readings), lengths.u_mm, strict=True))
        for lengths in (before, after)
    ]
    pairs = []
    for key in sorted({**sides[0], **sides[1]}, key=_page_order):
        one, other = sides[0].get(key), sides[1].get(key)
        shown = one or other
        if shown is None:
            continue
        change = None
        if one and other:
            u = hypot(spreads[0][id(one)], spreads[1][id(other)])
            change = make_change(one.quantity, one.rail or None, one.value_mm, other.value_mm, u)
        pairs.append(LengthPair(label_reading(shown), shown.quantity, one, other, change))
    return tuple(pairs)


_Key = tuple[str, str, float | None, str]


def _by_key(readings: Sequence[ReadingEntry]) -> dict[_Key, ReadingEntry]:
    found: dict[_Key, ReadingEntry] = {}
    for one in readings:
        if one.quantity in LENGTHS or one.quantity == "dial":
            quantity, rail, depth, name = length_key(one)
            # the exit bore has a cell of its own and is depth 0 all the same
            at = 0.0 if quantity == "bore" and depth is None else depth
            found.setdefault((quantity, rail, at, name), one)
    return found


def _page_order(key: _Key) -> tuple[int, str, float, str]:
    order = [*LENGTHS, "dial"]
    quantity, rail, depth, name = key
    # a dial's two rails stand together at each place, other quantities' rails apart
    first = "" if quantity == "dial" else rail
    return order.index(quantity), first, -1.0 if depth is None else depth, f"{name}{rail}"


@dataclass(frozen=True, slots=True)
class LengthHistory:
    """One quantity of a set, how sure it is, and what other sets of the piece read for it."""

    reading: ReadingEntry
    u_mm: float
    others: tuple[tuple[int, ReadingEntry], ...]


def list_history(own: TrueLengths, others: Mapping[int, TrueLengths]) -> tuple[LengthHistory, ...]:
    """List a set's lengths with the same quantity in `others`, by the set's id, as given there."""
    keyed = {set_id: _by_key(lengths.readings) for set_id, lengths in others.items()}
    spreads = dict(zip(map(id, own.readings), own.u_mm, strict=True))
    by_key = _by_key(own.readings)
    return tuple(
        LengthHistory(
            by_key[key],
            spreads[id(by_key[key])],
            tuple((set_id, found[key]) for set_id, found in keyed.items() if key in found),
        )
        for key in sorted(by_key, key=_page_order)
        if key[0] != "dial"
    )


def fit_taper(lengths: TrueLengths) -> BoreTaper | None:
    """Fit the bore of a set: the exit bore, if read, and every depth; None for fewer than two.

    The gauge's own error shifts every diameter alike and hardly tilts the taper, but is in each
    diameter's uncertainty: that of the taper is overstated, if anything.
    """
    points = [
        BorePoint(one.depth_mm or 0.0, one.value_mm, u_mm)
        for one, u_mm in zip(lengths.readings, lengths.u_mm, strict=True)
        if one.quantity == "bore"
    ]
    if len(points) < 2:
        return None
    try:
        return fit_bore(points)
    except ValueError:
        return None


def describe_taper(taper: BoreTaper | None) -> Iterator[str]:
    """Say in sentences what the bore does between its depths."""
    if taper is None or taper.taper_per_mm is None or taper.included_angle_deg is None:
        return
    u_taper = taper.uncertainties.get("taper_per_mm")
    u_angle = taper.uncertainties.get("included_angle_deg")
    slope = format_number(1000.0 * taper.taper_per_mm, 1, least=1)
    plus = f" ± {format_number(1000.0 * expanded(u_taper), 1, least=1)}" if u_taper else ""
    angle = format_number(taper.included_angle_deg, 2, least=2)
    plus_angle = f" ± {format_number(expanded(u_angle), 2, least=2)}" if u_angle else ""
    if taper.direction == "cannot tell from a cylinder":
        yield (
            f"The bore can’t be told from a cylinder of {format_mm(taper.mean_diameter_mm)} mm: "
            f"its taper is {slope}{plus} µm a mm."
        )
    elif taper.direction == "cylinder":
        yield f"The bore is a cylinder of {format_mm(taper.mean_diameter_mm)} mm."
    else:
        one_in = format_number(1.0 / taper.taper_per_mm, 0)
        yield (
            f"The bore {taper.direction} by {slope}{plus} µm of diameter a mm of depth "
            f"(1 in {one_in}), an included angle of {angle}{plus_angle} degrees."
        )
    if taper.p is not None and taper.p < 0.05:
        yield (
            "The diameters do not lie on a straight taper within what the gauge tells: "
            "it is stepped or curved, or a reading is to be taken again."
        )
    if taper.note:
        yield taper.note
