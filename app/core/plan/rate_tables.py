"""Removal rates as their page prints them: each kind of cut with its evidence, in words."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.core.plan.removal import (
    RemovalKind,
    RemovalPair,
    RemovalRate,
    group_pairs,
    learn_rate,
    propose_strokes,
)
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import MATERIALS
from app.core.values.units import format_number


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """One pair: whose job, strokes, what they took in µm, and µm a stroke."""

    job: str
    strokes: str
    took: str
    each: str


@dataclass(frozen=True, slots=True)
class RateSection:
    """One kind of cut: its label, what is known in a figure and in words, the pairs, a proposal.

    `figure` is empty while the rate is not known; `proposal` where none was asked for.
    """

    kind: RemovalKind
    label: str
    rate: RemovalRate
    figure: str
    uncertainty: str
    words: str
    rows: tuple[EvidenceRow, ...]
    proposal: str


def name_kind(kind: RemovalKind) -> str:
    """Name a kind of cut in one line: tilted toward the tip, wet paper 600, hard rubber."""
    cut = CUT_KINDS[kind.cut].label if kind.cut in CUT_KINDS else kind.cut
    paper = f"{kind.abrasive} {kind.grit}".strip()
    material = MATERIALS.get(kind.material, kind.material)
    return ", ".join(part for part in (cut, paper, material) if part)


def list_rates(pairs: Iterable[RemovalPair], left_mm: float | None = None) -> list[RateSection]:
    """List what is known of each kind of cut, the best known first.

    With `left_mm` each section also says how many strokes that would be.
    """
    sections = [
        _tell_rate(learn_rate(kind, own), left_mm) for kind, own in group_pairs(pairs).items()
    ]
    return sorted(
        sections,
        key=lambda section: (not section.rate.known, -len(section.rate.pairs), section.label),
    )


def _tell_rate(rate: RemovalRate, left_mm: float | None) -> RateSection:
    figure = uncertainty = ""
    if rate.known and rate.mm_per_stroke is not None:
        figure = f"{format_number(rate.mm_per_stroke * 1000, 2)} µm a stroke"
        uncertainty = f"± {format_number(2000 * (rate.mm_per_stroke_u or 0.0), 2)} µm (k = 2)"
    return RateSection(
        kind=rate.kind,
        label=name_kind(rate.kind),
        rate=rate,
        figure=figure,
        uncertainty=uncertainty,
        words=rate.words,
        rows=tuple(
            EvidenceRow(
                pair.job,
                format_number(pair.strokes, 0),
                format_number(pair.depth_mm * 1000, 0),
                format_number(pair.depth_mm * 1000 / pair.strokes, 2),
            )
            for pair in rate.pairs
        ),
        proposal="" if left_mm is None or not rate.known else propose_strokes(rate, left_mm).words,
    )
