"""A repeatability study as typed, and its outcome in words.

The same gauge, a few pieces, every piece read in turn and then all of them again: going round the
pieces keeps the last number from being remembered.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import hypot

from app.core.gauges.repeatability import RepeatabilityStudy, study_repeatability
from app.core.values.forms import Fields, Refused, plural
from app.core.values.readings import FURTHEST_MM, NOT_READ
from app.core.values.uncertainty import expanded, resolution
from app.core.values.units import Scale, format_mm, format_on_scale, format_u

MOST_PIECES, MOST_TURNS = 8, 15
USUAL_PIECES, USUAL_TURNS = 3, 5
DIFFER_BELOW = 0.05


@dataclass(frozen=True, slots=True)
class StudyValue:
    """One reading of a study: the piece's place and name, the turn, as typed and in mm."""

    piece_place: int
    piece: str
    turn: int
    typed: str
    value_mm: float


@dataclass(frozen=True, slots=True)
class StudyEntry:
    """A study ready to be kept."""

    done_on: date
    scale: str
    note: str
    values: tuple[StudyValue, ...]


def study_cell(turn: int, place: int) -> str:
    """Name the grid's field for one turn and piece."""
    return f"t{turn}_{place}"


def clamp_size(pieces: str, turns: str) -> tuple[int, int]:
    """How many pieces and turns the grid has; anything odd becomes what is usual."""
    asked = []
    for text, usual, most in (
        (pieces, USUAL_PIECES, MOST_PIECES),
        (turns, USUAL_TURNS, MOST_TURNS),
    ):
        number = int(text) if text.isdecimal() and len(text) < 4 else usual
        asked.append(min(max(number, 1), most))
    return asked[0], max(asked[1], 2)


def parse_study(
    raw: Mapping[str, str], scale: Scale, pieces: int, turns: int, today: date
) -> StudyEntry | Refused:
    """Read a study's page; every reading is typed in `scale`."""
    fields = Fields(raw)
    values = []
    for turn in range(1, turns + 1):
        for place in range(1, pieces + 1):
            name = study_cell(turn, place)
            typed = raw.get(name, "").strip()
            if typed in NOT_READ:
                continue
            value_mm = fields.length_mm(name, scale)
            if value_mm is None:
                continue
            if value_mm > FURTHEST_MM:
                fields.refuse(name, f"{typed} is {format_mm(value_mm, 0)} mm: beyond any reading.")
            piece = raw.get(f"piece_{place}", "").strip()[:80] or f"piece {place}"
            values.append(StudyValue(place, piece, turn, typed, value_mm))
    done_on = fields.past_day("done_on", today, "A study")
    entry = StudyEntry(done_on, scale.key, fields.text("note", limit=1000), tuple(values))
    if not fields.problems and all(len(group) < 2 for group in group_values(entry.values)):
        fields.refuse(
            study_cell(1, 1), "Read at least one piece twice: repeats show how well it repeats."
        )
    return fields.refused() or entry


def group_values(values: Sequence[StudyValue]) -> list[list[StudyValue]]:
    """Gather a study's readings by piece, in the order of the page."""
    places = sorted({reading.piece_place for reading in values})
    return [[reading for reading in values if reading.piece_place == place] for place in places]


def work_out_study(values: Sequence[StudyValue]) -> RepeatabilityStudy:
    """Analyse a study's readings by one-way analysis of variance."""
    return study_repeatability(
        [[reading.value_mm for reading in group] for group in group_values(values)]
    )


@dataclass(frozen=True, slots=True)
class StudyRow:
    """One piece of a study as the page prints it."""

    piece: str
    readings: str
    mean: str
    deviation: str


def list_study_rows(values: Sequence[StudyValue], scale: Scale) -> list[StudyRow]:
    """List the pieces with their readings as typed, mean and standard deviation."""
    study = work_out_study(values)
    return [
        StudyRow(
            group[0].piece,
            " ".join(reading.typed for reading in group),
            f"{format_on_scale(mean, scale)} ({format_mm(mean)} mm)",
            "–" if deviation is None else f"{format_u(deviation)} mm",
        )
        for group, mean, deviation in zip(
            group_values(values), study.means_mm, study.deviations_mm, strict=True
        )
    ]


def describe_study(
    values: Sequence[StudyValue], what: str, scale: Scale, step_mm: float
) -> list[str]:
    """Say how well one reading repeats, how sure that is, and what it makes of a reading."""
    study = work_out_study(values)
    words = []
    if study.repeatability_mm > 0:
        numbers = study.repeatability_mm / float(scale.mm_per_unit)
        own = f", {numbers:.2g} of the gauge’s numbers" if scale.mm_per_unit != 1 else ""
        words.append(
            f"A reading with {what} repeats within a standard deviation of "
            f"{format_u(study.repeatability_mm)} mm{own}. From {plural(len(values), 'reading')} "
            f"the truth lies between {format_u(study.low_mm)} and {format_u(study.high_mm)} mm "
            f"(95 of 100; {plural(study.within_dof, 'degree')} of freedom)."
        )
    together = hypot(study.repeatability_mm, resolution(step_mm).u_mm)
    words.append(
        f"With the step of {format_on_scale(step_mm, scale)} its marks are read to, one reading is "
        f"known within ± {format_u(expanded(together))} mm (k = 2)."
    )
    words += [study.note] if study.note else []
    if study.odd_piece is not None:
        name = group_values(values)[study.odd_piece][0].piece
        words.append(
            f"{name[:1].upper()}{name[1:]} repeats much worse than the others. Look for a slip of "
            "the pen or a rocking glass there before you use this study."
        )
    if study.p is not None and study.f is not None:
        words.append(_say_pieces(study.f, study.p))
    return words


def _say_pieces(f: float, p: float) -> str:
    test = f"F = {f:.1f}, p {'< 0.001' if p < 0.001 else f'= {p:.3f}'}"
    if p < DIFFER_BELOW:
        return f"The pieces differ more than the repeats explain ({test}); that is set aside."
    return f"The pieces do not differ more than the repeats explain ({test}); that does no harm."
