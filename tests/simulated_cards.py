"""Cards of made-up pieces whose truth is known: how often something is said that isn't so.

`python -m tests.simulated_cards [cards] [seed]` prints the table of the closing note; the tests
take fewer. A piece is read twice as a shop reads it: blades of true sizes a little off their marks,
a glass laid once for each set and marked a little off, a hand that scatters, everything rounded to
the step of its scale. Between the two nothing happens, or a known movement does. What the gauges
are said to be is what the program assumes of gauges nobody has checked or studied.
"""

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from app.core.compare.comparison import Comparison, compare
from app.core.compare.differences import ReadSet
from app.core.compare.table_profiles import BREAK, HEEL, MIDDLE, TABLE_MM
from app.core.facing.corrections import correct_readings
from app.core.gauges.sizes import ASSUMED_LAYING_MM, GaugeFacts, SetSizes
from app.core.values.readings import ReadingEntry

DAY = date(2026, 11, 25)
CLARINET = (0.8636, 0.6096, 0.254, 0.0381)
SAXOPHONE = (1.27, 0.8636, 0.6096, 0.4064, 0.254, 0.127, 0.0381)
HAND_MM, GLASS_STEP_MM = 0.13, 0.25
TIP_HAND_MM, TIP_STEP_MM = 0.01, 0.01
BORE_HAND_MM, BORE_STEP_MM = 0.01, 0.0254
FEELER_HAND_MM = 0.003
GLASS, WEDGE, PLUG = 901, 902, 903


@dataclass(frozen=True)
class Shop:
    """The gauges a set is read with, and what they truly are."""

    blades: dict[int, tuple[float, float]]  # marked and true, by id
    register: dict[int, GaugeFacts]
    laying_mm: float = ASSUMED_LAYING_MM


def make_shop(rng: np.random.Generator, gaps: Sequence[float], first_id: int = 1) -> Shop:
    """Make a shop whose blades lie anywhere within ± 0.005 mm of their marks."""
    blades = {first_id + n: (gap, gap + rng.uniform(-0.005, 0.005)) for n, gap in enumerate(gaps)}
    facts = [GaugeFacts(n, "blade", "", nominal_mm=gap) for n, (gap, _) in blades.items()]
    facts += [
        GaugeFacts(GLASS, "glass", "", scale="glass_half_mm", resolution_mm=GLASS_STEP_MM),
        GaugeFacts(WEDGE, "wedge", "", scale="tip_mm", resolution_mm=TIP_STEP_MM),
        GaugeFacts(PLUG, "bore_gauge", "", scale="bore_in", resolution_mm=BORE_STEP_MM),
    ]
    return Shop(blades, {one.id: one for one in facts})


@dataclass(frozen=True)
class Piece:
    """The truth: on each rail an arc from the break, the tip opening, the exit bore; mm."""

    radius_mm: tuple[float, float]
    break_mm: tuple[float, float]
    tip_mm: float
    bore_mm: float
    crown_mm: float = 0.0  # how far the table stands proud at its middle

    def stop(self, rail: int, gap_mm: float, tilt: float = 0.0) -> float:
        """Where a blade stops under a glass that is tilted about the table's middle."""
        radius, at, left = self.radius_mm[rail], self.break_mm[rail], gap_mm
        for _ in range(30 if tilt else 1):
            at = self.break_mm[rail] - float(np.sqrt(2.0 * radius * left - left**2))
            left = max(gap_mm - tilt * (self.middle_mm - at), 0.0)
        return at

    @property
    def middle_mm(self) -> float:
        """Where the table's middle lies, from the tip."""
        return max(self.break_mm) + TABLE_MM / 2.0


def make_piece(rng: np.random.Generator, gaps: Sequence[float]) -> Piece:
    """Make a piece of a usual length and tip for its blades, the rails a little apart."""
    wide = max(gaps) > 1.0
    length = rng.uniform(21.0, 24.0) if wide else rng.uniform(15.5, 19.0)
    tip = rng.uniform(1.7, 2.4) if wide else rng.uniform(0.98, 1.2)
    points = tip * rng.uniform(1.0, 1.12)  # where the rails' curve points
    radius = ((length + rng.uniform(4.0, 5.5)) ** 2) / (2.0 * points)
    breaks = [float(np.sqrt(2.0 * radius * points)) + rng.normal(0, 0.1) for _ in range(2)]
    return Piece((radius, radius), (breaks[0], breaks[1]), tip, rng.uniform(14.6, 15.1))


@dataclass(frozen=True)
class Moved:
    """By how much work moved every stop of a rail, the tip and the bore, in mm."""

    left: float = 0.0
    right: float = 0.0
    tip: float = 0.0
    bore: float = 0.0


UNTOUCHED = Moved()


def _round(value: float, step: float) -> float:
    return round(value / step) * step


def read_piece(
    rng: np.random.Generator, piece: Piece, shop: Shop, moved: Moved = UNTOUCHED
) -> ReadSet:
    """Read a piece after it was `moved`."""
    laid = rng.normal(0, shop.laying_mm)
    tilt = rng.uniform(-1, 1) * 2.0 * piece.crown_mm / TABLE_MM if piece.crown_mm else 0.0
    readings = []
    for number, (marked, true) in shop.blades.items():
        for rail, (name, by) in enumerate((("left", moved.left), ("right", moved.right))):
            at = piece.stop(rail, true, tilt) + by + laid + rng.normal(0, HAND_MM)
            value = max(_round(at, GLASS_STEP_MM), 0.0)
            readings.append(
                ReadingEntry("blade", name, number, marked, None, f"{2 * value:g}",
                             "glass_half_mm", value)
            )  # fmt: skip
    tip = piece.tip_mm + tilt * piece.middle_mm + moved.tip + rng.normal(0, TIP_HAND_MM)
    tip = _round(tip, TIP_STEP_MM)
    readings.append(ReadingEntry("tip", "", None, None, None, f"{tip:.2f}", "tip_mm", tip))
    bore = piece.bore_mm + moved.bore + rng.normal(0, BORE_HAND_MM)
    bore = _round(bore, BORE_STEP_MM)
    typed = f"{bore / 25.4:.3f}"
    readings.append(ReadingEntry("bore", "", None, None, None, typed, "bore_in", bore))
    if piece.crown_mm:
        for place, true in ((HEEL, piece.crown_mm), (MIDDLE, 0.0), (BREAK, piece.crown_mm)):
            gap = max(_round(true + rng.normal(0, FEELER_HAND_MM), TIP_STEP_MM), 0.0)
            readings.append(
                ReadingEntry(place, "left", None, None, None, f"{gap:.2f}", "length_mm", gap)
            )
    sizes = SetSizes(DAY, shop.register, GLASS, WEDGE, PLUG)
    told = correct_readings(readings, sizes)
    return ReadSet(
        told.facing, tuple(readings), told.in_force, sizes.laying_u_mm, told.uncertainties
    )


@dataclass(frozen=True)
class Case:
    """A kind of card: what was done between its two sets, and with which blades it was read."""

    name: str
    moved: Moved = UNTOUCHED
    gaps: tuple[float, ...] = CLARINET
    other_blades: bool = False
    crowned: bool = False


CASES = (
    Case("untouched"),
    Case("untouched, read with another blade set", other_blades=True),
    Case("untouched, seven blades", gaps=SAXOPHONE),
    Case("untouched, table crowned by 0.02 to 0.05 mm", crowned=True),
    Case("all stops moved half a number (0.25 mm)", Moved(0.25, 0.25)),
    Case("all stops moved half a number, seven blades", Moved(0.25, 0.25), SAXOPHONE),
    Case("all stops moved one number (0.5 mm)", Moved(0.5, 0.5)),
    Case("left rail moved one number", Moved(left=0.5)),
    Case("tip 0.03 mm more open", Moved(tip=0.03)),
    Case("tip 0.05 mm more open", Moved(tip=0.05)),
    Case("bore 0.08 mm wider", Moved(bore=0.08)),
)


def simulate(case: Case, cards: int, seed: int) -> list[Comparison]:
    """Make so many cards of a kind."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(cards):
        shop = make_shop(rng, case.gaps)
        piece = make_piece(rng, case.gaps)
        if case.crowned:
            piece = replace(piece, crown_mm=rng.uniform(0.02, 0.05))
        later = make_shop(rng, case.gaps, 101) if case.other_blades else shop
        before = read_piece(rng, piece, shop)
        found.append(compare(before, read_piece(rng, piece, later, case.moved)))
    return found


def part(found: Sequence[Comparison], holds: Callable[[Comparison], bool]) -> float:
    """Give the part of the cards for which something holds."""
    return sum(map(holds, found)) / len(found)


def is_headline(one: Comparison) -> bool:
    """Whether the tip or the facing length is said to have changed."""
    return any(row.quantity in {"tip_opening", "facing_length"} for row in one.told)


LOOKS: dict[str, Callable[[Comparison], bool]] = {
    "any “changed”": lambda one: one.moved,
    "as a whole": lambda one: one.joint.changed,
    "some figure": lambda one: bool(one.told),
    "tip or length": is_headline,
    "a figure by itself (Eₙ > 1)": lambda one: any(row.changed for row in one.changes),
    "a reading to take again": lambda one: bool(one.suspects),
}


def main(cards: int = 5000, seed: int = 18) -> None:
    """Print the table."""
    print(f"{cards} cards each, seed {seed}; in per cent")
    print("| case | " + " | ".join(LOOKS) + " |")
    print("| --- |" + " --- |" * len(LOOKS))
    for case in CASES:
        found = simulate(case, cards, seed)
        cells = (f"{100 * part(found, look):.1f}" for look in LOOKS.values())
        print(f"| {case.name} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
