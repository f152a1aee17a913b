"""The dial or calliper in the hand: which of the register's was used, and how finely it tells.

Blades, glass, wedge and bore gauge are those of the set in use. A dial or a calliper is chosen on
the page where the register has one; a reading taken with it gets its step, its studied
repeatability, and the size its checks give it (`sizes`, `corrections`).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from app.core.values.forms import Fields
from app.core.values.lengths import scale_named
from app.core.values.readings import ReadingEntry
from app.core.values.units import NotANumber, parse_number

# The field that names the gauge, by the kind of gauge
FIELDS: dict[str, str] = {"dial": "dial_gauge", "calliper": "calliper"}
# A flatness is a blade's under a straight edge, a volume a syringe's, a bore an engraved plug's.
BY_CALLIPER = frozenset(
    {"table_length", "window_length", "window_width", "tip_rail_width", "side_rail_width",
     "baffle_depth", "named"}
)  # fmt: skip
UNDER_EDGE = frozenset({"table_flatness", "table_heel", "table_middle", "table_break"})
LEAF_STEP_MM = 0.01
HAND_STEPS = 0.5
ENGRAVED = frozenset({"bore", "dial"})  # their own step counts, however it is written
_NUMBER = re.compile(r"[\d.,/⁄\s¼½¾⅛⅜⅝⅞]+")
_DECIMALS = re.compile(r"[.,](\d+)\s*$")
_FRACTIONS = {"½": 2, "¼": 4, "¾": 4, "⅛": 8, "⅜": 8, "⅝": 8, "⅞": 8}


@dataclass(frozen=True, slots=True)
class HandGauge:
    """A dial or calliper of the register, as the page offers it."""

    id: int
    kind: str
    label: str
    retired: bool = False


def kind_used(reading: ReadingEntry) -> str:
    """The kind of gauge a reading is taken with by hand: a key of `FIELDS`, or nothing."""
    if reading.quantity == "dial":
        return "dial"
    return "calliper" if reading.quantity in BY_CALLIPER else ""


def name_gauges(
    fields: Fields, readings: Sequence[ReadingEntry], hands: Sequence[HandGauge]
) -> list[ReadingEntry]:
    """Note on each reading which dial or calliper it was taken with, where the page says so."""
    used: dict[str, int | None] = {}
    for kind, name in FIELDS.items():
        chosen = fields.raw.get(name, "").strip()
        used[kind] = next(
            (hand.id for hand in hands if hand.kind == kind and str(hand.id) == chosen), None
        )
        if chosen and used[kind] is None:
            fields.refuse(name, f"Choose a {kind} from the list.")
    return [
        replace(reading, gauge_id=used.get(kind_used(reading), reading.gauge_id))
        for reading in readings
    ]


def gauge_cells(readings: Sequence[ReadingEntry]) -> dict[str, str]:
    """Fill the page's choice of dial and calliper from kept readings: for a correction."""
    return {
        FIELDS[kind]: "" if reading.gauge_id is None else str(reading.gauge_id)
        for reading in readings
        if (kind := kind_used(reading))
    }


def _written(reading: ReadingEntry) -> tuple[str, float] | None:
    """The number as written, and how many mm (or ml) its unit has; None if it is none."""
    number = (_NUMBER.match(reading.typed.strip().lstrip("-−–").strip()) or [""])[0].strip()
    try:
        count = float(parse_number(number))
    except NotANumber:
        return None
    unit = float(scale_named(reading.scale).mm_per_unit)
    return number, abs(reading.value_mm) / count if count else unit


def _last_place(number: str) -> float:
    if match := _DECIMALS.search(number):
        return float(10.0 ** -len(match[1]))
    if number[-1] in _FRACTIONS:
        return 1.0 / _FRACTIONS[number[-1]]
    if match := re.search(r"[/⁄]\s*(\d+)$", number):
        return 1.0 / int(match[1])
    return 1.0


@lru_cache(maxsize=4096)  # a history asks for the same readings again and again
def step_of(reading: ReadingEntry, resolution_mm: float | None = None) -> float:
    """The finest difference a reading tells, in mm (or ml).

    With a gauge of the register that is its own step, for a calliper the last place written where
    that is coarser. Without one it is the last place written, or the scale's step where coarser.
    No gap under a straight edge, written 0, is told as finely as leaves go: to a hundredth.
    """
    if reading.value_mm == 0.0 and reading.quantity in UNDER_EDGE:
        return LEAF_STEP_MM
    scale, written = scale_named(reading.scale), _written(reading)
    if written is None:
        return scale.step_mm if resolution_mm is None else resolution_mm
    number, unit_mm = written
    if resolution_mm is not None:
        coarse = _last_place(number) * unit_mm if kind_used(reading) == "calliper" else 0.0
        return max(coarse, resolution_mm)
    if reading.quantity in ENGRAVED:
        return float(scale.step) * unit_mm
    same_unit = abs(unit_mm / float(scale.mm_per_unit) - 1.0) < 1e-6
    return max(_last_place(number) * unit_mm, scale.step_mm if same_unit else 0.0)
