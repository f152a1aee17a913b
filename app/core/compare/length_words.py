"""Other lengths in words: what was read, its history over the years, and the bore's taper.

Each comes as the gauges tell it (`corrections`): of a gauge in the register by its checks and
studies. The gauge behind another length is often not known; then its uncertainty starts from what
was written down: the last place, or the scale's step where that is coarser. Resolution alone would
call every difference of one step a change, which no hand can stand for; without a study of its own,
a hand is taken to repeat a reading to half a step (our assumption, no source).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from app.core.compare.bore import BorePoint, BoreTaper, fit_bore
from app.core.compare.differences import figure_key
from app.core.facing.corrections import ToldReading
from app.core.values.lengths import LENGTHS
from app.core.values.readings import ReadingEntry
from app.core.values.uncertainty import expanded
from app.core.values.units import format_mm, format_number


@dataclass(frozen=True, slots=True)
class SureLength:
    """A length other than the facing's, its true value in its reading, and its standard u."""

    reading: ReadingEntry
    u_mm: float


def list_lengths(
    readings: Sequence[ReadingEntry], values: Sequence[ToldReading]
) -> tuple[SureLength, ...]:
    """List what was read beside blades and tip, in the order of the page."""
    lengths = {
        figure_key(reading): SureLength(replace(reading, value_mm=true.value_mm), true.u_mm)
        for reading, true in zip(readings, values, strict=True)
        if reading.quantity in LENGTHS or reading.quantity == "dial"
    }
    return tuple(sorted(lengths.values(), key=lambda length: page_order(length.reading)))


def page_order(reading: ReadingEntry) -> tuple[int, str, float, str]:
    """Say where a length stands on a page; a dial's two rails stand together at each place."""
    order = [*LENGTHS, "dial"]
    first = "" if reading.quantity == "dial" else reading.rail
    depth = 0.0 if reading.quantity == "bore" else -1.0
    if reading.depth_mm is not None:
        depth = reading.depth_mm
    return order.index(reading.quantity), first, depth, f"{reading.name}{reading.rail}"


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
    """The unit of the kept value: mm, or ml for a volume."""
    length = LENGTHS.get(reading.quantity)
    return length.unit if length else "mm"


def show_reading(reading: ReadingEntry) -> str:
    """Write the kept value with its unit."""
    length = LENGTHS.get(reading.quantity)
    places = 3 if reading.quantity == "dial" or (length and length.signed) else 2
    return f"{format_mm(reading.value_mm, places)} {unit_of(reading)}"


@dataclass(frozen=True, slots=True)
class LengthHistory:
    """One quantity of a set, and what other sets of the piece read for it, by the set's id."""

    length: SureLength
    others: tuple[tuple[int, ReadingEntry], ...]


def list_history(
    own: Sequence[SureLength], others: Mapping[int, Sequence[SureLength]]
) -> tuple[LengthHistory, ...]:
    """List a set's lengths with the same quantity in `others`, by the set's id, as given there."""
    keyed = {
        set_id: {figure_key(length.reading): length.reading for length in lengths}
        for set_id, lengths in others.items()
    }
    return tuple(
        LengthHistory(
            length, tuple((set_id, read[key]) for set_id, read in keyed.items() if key in read)
        )
        for length in own
        if (key := figure_key(length.reading))[0] != "dial"
    )


def fit_taper(lengths: Sequence[SureLength]) -> BoreTaper | None:
    """Fit the bore of a set: the exit bore, if read, and every depth; None for fewer than two.

    The gauge's own error shifts every diameter alike and hardly tilts the taper, but is in each
    diameter's uncertainty: that of the taper is overstated, if anything.
    """
    points = [
        BorePoint(length.reading.depth_mm or 0.0, length.reading.value_mm, length.u_mm)
        for length in lengths
        if length.reading.quantity == "bore"
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
