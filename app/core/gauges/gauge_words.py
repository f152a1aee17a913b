"""A gauge in words: how big it is now, how well it repeats, and what its checks say one by one."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import hypot, inf

from app.core.gauges.gauges import CheckEntry
from app.core.gauges.sizes import (
    ASSUMED_REPEATABILITY_MM,
    GaugeFacts,
    checks_in_force,
    repeat_in_force,
    true_length,
)
from app.core.values.charts import IndividualsChart, chart_individuals
from app.core.values.forms import format_date, plural
from app.core.values.regression import fit_line, fit_polynomial, student_quantile
from app.core.values.uncertainty import COVERAGE_FACTOR, expanded
from app.core.values.units import SCALES, format_mm, format_on_scale, format_signed, format_u

# Which repeatability is assumed for readings with a kind of gauge that has no study
_QUANTITY_OF = {
    "blade": "blade", "glass": "blade", "wedge": "tip", "bore_gauge": "bore", "dial": "dial",
}  # fmt: skip

CHANCE = 0.05  # of saying that a gauge changed which holds its size


def say_size(gauge: GaugeFacts, day: date) -> str:
    """Say what a gauge measures on a day, by its checks."""
    checks = checks_in_force(gauge, day)
    if gauge.kind == "blade":
        if checks:
            return f"{checks[-1].actual_mm:.4f} mm, checked {format_date(checks[-1].on)}"
        return f"{gauge.nominal_mm or 0.0:.4f} mm as marked, not checked yet"
    if not checks:
        return "as marked, not checked yet"
    marks = sorted({check.mark_mm or 0.0 for check in checks})
    errors = [
        say_error(true_length(gauge, checks, mark).mm - mark, mark, gauge)
        for mark in (marks[0], marks[-1])
    ]
    words = errors[0] if len(marks) == 1 else f"{errors[0]}, {errors[1]}"
    more = ", and as much everywhere" if len(marks) == 1 else ""
    return f"{words}{more}; checked {format_date(checks[-1].on)}"


def say_repeatability(gauge: GaugeFacts, day: date) -> str:
    """Say how well a reading with a gauge repeats, and how that is known."""
    if study := repeat_in_force(gauge, day):
        seen = f"{format_u(study.deviation_mm)} mm" if study.deviation_mm else "within the step"
        return f"{seen}, studied {format_date(study.on)}"
    if gauge.repeatability_mm is not None:
        return f"{format_u(gauge.repeatability_mm)} mm, as written"
    quantity = _QUANTITY_OF.get(gauge.kind)
    if quantity is None:
        return "not studied yet; half a step assumed"
    assumed = f"{ASSUMED_REPEATABILITY_MM[quantity]:g} mm assumed"
    if gauge.kind == "blade":
        return f"not studied yet; as its glass, else {assumed}"
    return f"not studied yet; {assumed}"


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """A check as kept: its id, what was typed, and whether it was struck out."""

    id: int
    entry: CheckEntry
    struck: bool


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check as the gauge's page prints it."""

    id: int
    on: date
    mark: str
    typed: str
    found: str
    off: str
    change: str
    method: str
    struck: bool


def list_check_rows(gauge: GaugeFacts, checks: Sequence[KeptCheck]) -> list[CheckRow]:
    """List a gauge's checks by day; each standing one is compared with the one before it."""
    rows: list[CheckRow] = []
    before: dict[float | None, CheckEntry] = {}
    scale = SCALES[gauge.scale or "length_mm"]
    for kept in checks:
        entry = kept.entry
        marked = gauge.nominal_mm if gauge.kind == "blade" else entry.mark_mm
        places = 4 if gauge.kind == "blade" else 3
        # marks are compared with the same mark, to a micrometre
        mark = None if entry.mark_mm is None else round(entry.mark_mm, 3)
        last = before.get(mark)
        rows.append(
            CheckRow(
                id=kept.id,
                on=entry.checked_on,
                mark="" if entry.mark_mm is None else format_on_scale(entry.mark_mm, scale),
                typed=f"{entry.typed} {SCALES[entry.scale].unit}".strip(),
                found=f"{format_mm(entry.actual_mm, places)} ± {format_u(expanded(entry.u_mm))} mm",
                off=f"{format_signed(entry.actual_mm - (marked or 0.0), places)} mm",
                change="" if kept.struck or last is None else _say_change(last, entry, places),
                method=entry.method,
                struck=kept.struck,
            )
        )
        if not kept.struck:
            before[mark] = entry
    return rows


def _say_change(last: CheckEntry, now: CheckEntry, places: int) -> str:
    change = now.actual_mm - last.actual_mm
    expanded_u = expanded(hypot(last.u_mm, now.u_mm))
    words = f"{format_signed(change, places)} ± {format_u(expanded_u)} mm"
    return f"{words}: {'changed' if abs(change) > expanded_u else 'no change the checks can tell'}"


@dataclass(frozen=True, slots=True)
class Run:
    """A gauge's standing checks in order: what each found in mm, and what they say together.

    For a blade its thickness, check by check; for an engraved gauge how far the marks checked on
    a day are off on the average. `chart` is None with fewer than two.
    """

    days: tuple[date, ...]
    values_mm: tuple[float, ...]
    chart: IndividualsChart | None
    words: tuple[str, ...]


def describe_run(gauge: GaugeFacts) -> Run:
    """Put a gauge's checks on an individuals chart and say what it shows."""
    blade = gauge.kind == "blade"
    if blade:
        days = tuple(check.on for check in gauge.checks)
        values = tuple(check.actual_mm for check in gauge.checks)
    else:
        days = tuple(sorted({check.on for check in gauge.checks}))
        values = tuple(_mean_error(gauge, day) for day in days)
    if len(values) < 2:
        return Run(days, values, None, ())
    chart = chart_individuals(values)
    words = []
    for i in chart.beyond:
        words.append(
            f"The check of {format_date(days[i])} stands outside the limits that the steps from "
            "check to check set: the gauge, or what it was checked with, was different."
        )
    for i in chart.ranges_beyond:
        words.append(
            f"The step from {format_date(days[i])} to {format_date(days[i + 1])} is larger than "
            "the other steps explain."
        )
    us = [max(check.u_mm for check in gauge.checks if check.on == day) for day in days]
    words += _tell_run([day.toordinal() for day in days], values, us, blade=blade)
    if not words:
        steps = zip(pairwise(values), pairwise(us), strict=True)
        words.append(
            "All checks together show no change that is sure."
            if any(abs(b - a) > expanded(hypot(*both)) for (a, b), both in steps)
            else "The checks differ by no more than they can be wrong by: it holds its size."
        )
    if chart.provisional:
        words.append(
            f"The limits stand on {plural(len(values), 'check')} only and will still move."
        )
    return Run(days, values, chart, tuple(words))


def _tell_run(
    days: Sequence[int], values: Sequence[float], us: Sequence[float], *, blade: bool
) -> Iterator[str]:
    """Say whether all checks together show a trend, or differ by more than they can be wrong by.

    Of more than two each is asked at half of 5 %, so that a gauge which holds its size is seldom
    said not to.
    """
    beyond = COVERAGE_FACTOR if len(days) == 2 else student_quantile(1.0 - CHANCE / 4.0, inf)
    if days[-1] > days[0]:
        line = fit_line([day - days[0] for day in days], values, us)
        span = days[-1] - days[0]
        change = line.coefficients[1] * span
        u = (line.uncertainties or (0.0, 0.0))[1] * span
        if abs(change) > beyond * u:
            way = ("thinner" if change < 0 else "thicker") if blade else "different"
            yield (
                f"From the first check to the last it has become {format_mm(abs(change), 4)} ± "
                f"{format_u(expanded(u))} mm {way}."
            )
            return
    alike = fit_polynomial(days, values, 0, us)
    if alike.p is not None and alike.p < CHANCE / 2.0:
        yield (
            "The checks differ by more than they can be wrong by, though not steadily one way: the "
            "gauge, or what it was checked with, was not the same."
        )


def _mean_error(gauge: GaugeFacts, day: date) -> float:
    errors = [check.actual_mm - (check.mark_mm or 0.0) for check in checks_in_force(gauge, day)]
    return sum(errors) / len(errors)


def say_error(error_mm: float, shown_mm: float, gauge: GaugeFacts) -> str:
    """Say by how much a gauge shows too much or too little at a mark."""
    at = format_on_scale(shown_mm, SCALES[gauge.scale or "length_mm"])
    if abs(error_mm) < 0.0005:
        return f"true at {at}"
    way = "too little" if error_mm > 0 else "too much"
    return f"shows {format_mm(abs(error_mm), 3)} mm {way} at {at}"
