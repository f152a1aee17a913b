"""What a measurement comes to, in words that a player and a metrologist both accept."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from app.core.facing.analysis import FacingAnalysis
from app.core.facing.curves import CURVES
from app.core.facing.evenness import (
    CANNOT_TELL,
    EVEN,
    ONE_RAIL,
    UNEVEN,
    BladeEvenness,
    RailsVerdict,
    blade_key,
    judge_rails,
)
from app.core.facing.fits import CANNOT_JUDGE, NONE_FITS, CurveFit, RailAnalysis
from app.core.facing.rail_words import SHAPES, describe_rail
from app.core.facing.suspects import find_suspects
from app.core.values.readings import FacingReadings
from app.core.values.uncertainty import expanded
from app.core.values.units import (
    Scale,
    format_blade,
    format_mm,
    format_number,
    format_on_scale,
    format_signed,
)

# what is said of a rail for which no curve was chosen
READ_AGAIN = "to be read again"
JUDGED = {NONE_FITS: "no plain curve fits", CANNOT_JUDGE: "cannot be judged"}


def read_facing_length(facing: FacingReadings) -> float | None:
    """Where the thinnest blade stops, in mm: the mean of both rails if it was felt on both.

    Common practice, no source: the trade's facing length is this reading, not the break point.
    """
    stops = [*facing.left, *facing.right]
    if not stops:
        return None
    thinnest = min(stop.gap_mm for stop in stops)
    places = [stop.position_mm for stop in stops if stop.gap_mm == thinnest]
    return sum(places) / len(places)


def rails_of(analysis: FacingAnalysis) -> RailsVerdict:
    """How even the rails of a facing are, by the blades that aren't to be read again."""
    doubted = doubted_gaps(analysis)
    return judge_rails(
        [row for row in analysis.evenness if blade_key(row.gap_mm) not in doubted],
        one_rail=bool(analysis.left or analysis.right),
        read_once=analysis.read_once,
    )


def doubted_gaps(analysis: FacingAnalysis) -> frozenset[int]:
    """Name the blades of which a reading is to be taken again."""
    return frozenset(gap for _, gap in find_suspects(analysis))


def say_evenness(rails: RailsVerdict) -> str:
    """Say in a few words how even the rails are."""
    words = {ONE_RAIL: "only one rail read", CANNOT_TELL: "cannot tell"}
    said = words.get(rails.verdict, rails.verdict)
    return (
        f"{said} at {_list([format_blade(gap) for gap in rails.gaps_mm])}"
        if rails.gaps_mm
        else said
    )


def _list(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def main_rail(analysis: FacingAnalysis) -> tuple[str, RailAnalysis] | None:
    """The rail to speak of: the mean of both, else the one that was read."""
    for name, rail in (
        ("rails", analysis.mean),
        ("left rail", analysis.left),
        ("right rail", analysis.right),
    ):
        if rail is not None:
            return name, rail
    return None


def describe_facing(analysis: FacingAnalysis, glass: Scale) -> list[str]:
    """Say the curve, the tip, the rails, and any reading to take again; a sentence each."""
    spoken = main_rail(analysis)
    if spoken is None:
        return []
    name, rail = spoken
    words = [describe_rail(rail, name), _say_rails(analysis)]
    words += [
        f"Take the dial reading at {format_mm(stop.position_mm, 1)} mm again: "
        f"{format_mm(stop.gap_mm, 3)} mm fits the others worst."
        for stop in (rail.stops[index] for index in rail.suspect)
        if stop.dial
    ]
    words += _say_suspects(analysis, glass)
    return [sentence for sentence in words if sentence]


def _say_suspects(analysis: FacingAnalysis, glass: Scale) -> Iterator[str]:
    suspects = find_suspects(analysis)
    for blade in sorted({key for _, key in suspects}):
        at = {
            rail: (format_blade(stop.gap_mm), format_on_scale(stop.position_mm, glass))
            for rail in ("left", "right")
            if (rail, blade) in suspects
            for stop in getattr(analysis, rail).stops
            if blade_key(stop.gap_mm) == blade and not stop.dial
        }
        where = "both rails" if len(at) == 2 else f"the {next(iter(at))} rail"
        name = next(iter(at.values()))[0]
        numbers = "/".join(dict.fromkeys(number for _, number in at.values()))
        yield (
            f"Take the reading with the {name} blade on {where} again: at {numbers} it fits the "
            "others worst."
        )


def _say_rails(analysis: FacingAnalysis) -> str:
    rails = rails_of(analysis)
    lead = {
        EVEN: "The rails are ",
        UNEVEN: "The rails are ",
        CANNOT_TELL: "Whether the rails are even, the gauges ",
    }.get(rails.verdict)
    rest = " at the other blades" if doubted_gaps(analysis) and not rails.gaps_mm else ""
    return f"{lead}{say_evenness(rails)}{rest}." if lead else ""


@dataclass(frozen=True, slots=True)
class BladeRow:
    """One blade as the measurement page prints it."""

    blade: str
    left: str
    left_mm: str
    right: str
    right_mm: str
    difference: str
    height: str
    verdict: str


def list_blade_rows(
    analysis: FacingAnalysis, facing: FacingReadings, glass: Scale
) -> list[BladeRow]:
    """List the blades, thick to thin, with what each rail read and how the rails compare."""
    at = {
        rail: {stop.gap_mm: stop.position_mm for stop in getattr(facing, rail)}
        for rail in ("left", "right")
    }
    even = {row.gap_mm: row for row in analysis.evenness}
    doubted = doubted_gaps(analysis)
    rows = []
    for gap in sorted({*at["left"], *at["right"]}, reverse=True):
        left, right, row = at["left"].get(gap), at["right"].get(gap), even.get(gap)
        rows.append(
            BladeRow(
                format_blade(gap),
                "–" if left is None else format_on_scale(left, glass),
                "" if left is None else format_mm(left),
                "–" if right is None else format_on_scale(right, glass),
                "" if right is None else format_mm(right),
                f"{format_signed(row.position_difference_mm, 2)} mm" if row else "",
                say_height(row),
                say_verdict(row, doubted) if row else "",
            )
        )
    return rows


def say_verdict(row: BladeEvenness, doubted: Collection[int]) -> str:
    """Say how even the rails are at a blade, unless a reading there is to be taken again."""
    return READ_AGAIN if blade_key(row.gap_mm) in doubted else row.verdict


def say_height(row: BladeEvenness | None) -> str:
    """Write how far the right rail stands from the left as a height, with k = 2."""
    if row is None or row.height_difference_um is None or row.u_um is None:
        return ""
    return f"{format_signed(row.height_difference_um, 0)} ± {expanded(row.u_um):.0f} µm"


@dataclass(frozen=True, slots=True)
class CurveRow:
    """One curve tried on one rail, as the measurement page prints it."""

    rail: str
    curve: str
    break_point: str
    shape: str
    chi_square: str
    p: str
    verdict: str


def list_curve_rows(analysis: FacingAnalysis) -> list[CurveRow]:
    """List every curve tried on the mean of the rails and on each rail."""
    rows = []
    for name, rail in (
        ("mean", analysis.mean),
        ("left", analysis.left),
        ("right", analysis.right),
    ):
        rows += [_curve_row(name, rail, fit) for fit in rail.fits] if rail else []
    return rows


_SHAPES = {
    **SHAPES,
    "coefficient_per_mm": ("coefficient", 6, "per mm"),
    "curvature_per_mm": ("curvature", 6, "per mm"),
    "curvature_rate_per_mm2": ("growing by", 8, "per mm²"),
}


def _curve_row(name: str, rail: RailAnalysis, fit: CurveFit) -> CurveRow:
    shapes = [
        f"{label} {format_number(fit.parameters[key], places)} {unit}"
        for key, (label, places, unit) in _SHAPES.items()
        if key in fit.parameters
    ]
    verdict = "cannot be judged" if fit.p is None else "refused" if fit.refused else "not refused"
    return CurveRow(
        name,
        CURVES[fit.curve].label,
        f"{format_mm(fit.parameters['break_mm'], 1)} ± "
        f"{format_mm(expanded(fit.uncertainties['break_mm']), 1)} mm",
        ", ".join(shapes),
        f"{fit.chi_square:.2f}",
        "–" if fit.p is None else f"{fit.p:.2f}",
        "chosen" if fit.curve == rail.chosen else verdict,
    )
