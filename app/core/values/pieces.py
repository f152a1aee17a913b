"""The mouthpiece itself: what is stamped on it and what tells it from its twin."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import Fields, Refused
from app.core.values.units import SCALES

MATERIALS: dict[str, str] = {
    "hard_rubber": "hard rubber",
    "plastic": "plastic",
    "glass": "glass",
    "metal": "metal",
    "wood": "wood",
    "unknown": "not known",
}

# At the bench. Wherever there is dust or a chip, eyes are covered.
MATERIAL_CAUTIONS: dict[str, str] = {
    "hard_rubber": "Hard rubber is a sulphur-cured rubber: work it wet, extract the dust, wear eye "
    "protection and a fitted respirator. Never rinse it in hot water: it discolours.",
    "plastic": "Work it wet, extract the dust, wear eye protection and a fitted respirator. No "
    "alcohol and no solvent: acrylic crazes.",
    "glass": "Glass chips are sharp and its dust harms the lungs; old crystal can hold lead: work "
    "it wet only, wear eye protection and a fitted respirator, wash your hands.",
    "metal": "Dust of brass can carry lead: work it wet, keep the dust off hands and food, wear "
    "eye protection and a fitted respirator. A cut goes through the plating.",
    "wood": "Some wood dusts sensitise skin and lungs: extract the dust, wear eye protection and a "
    "fitted respirator.",
    "unknown": "Treat an unknown material as the worst: work it wet, extract the dust, wear eye "
    "protection and a fitted respirator.",
}
# What each material bears when it is disinfected at drop-off, always in cool water.
MATERIAL_DISINFECTING: dict[str, str] = {
    "hard_rubber": "no hot water, no bleach: they discolour it",
    "plastic": "no alcohol, no solvent: acrylic crazes",
    "glass": "no acid, no sudden heat or cold",
    "metal": "no bleach: it eats into plating; wipe it dry",
    "wood": "a damp cloth only, never soaked",
    "unknown": "no hot water, no alcohol, no bleach",
}
# What the player is told about each material, beside the shop's own words.
MATERIAL_CARE: dict[str, str] = {
    "hard_rubber": "Wash it in cool water with a mild soap, never hot, and keep it out of the "
    "sun: heat and light discolour hard rubber.",
    "plastic": "Wash it in cool water with a mild soap. No alcohol and no solvent: they can craze "
    "acrylic and other plastics.",
    "glass": "Keep it from knocks and from sudden heat or cold. Old crystal can hold lead: wash it "
    "in cool water with a mild soap, not with vinegar or another acid.",
    "metal": "Wash it in cool water with a mild soap and wipe it dry. Polish wears plating away; "
    "a soft cloth is enough.",
    "wood": "Wipe it with a damp cloth and don’t soak it; let it dry slowly, away from heat.",
    "unknown": "Wash it in cool water with a mild soap: no hot water, no alcohol, no polish.",
}
CAUTION_DEFERS = (
    "Your local code, the product's data sheet and licensed advice come before this page."
)


@dataclass(frozen=True, slots=True)
class PieceEntry:
    """A piece as typed; `table_length_mm` is None where it wasn't measured."""

    instrument_kind: str
    maker: str
    model: str
    marking: str
    material: str
    table_length_mm: float | None
    telling_marks: str
    notes: str


def read_piece(fields: Fields, prefix: str = "") -> PieceEntry:
    """Read a piece's fields; problems are left in `fields`."""
    entry = PieceEntry(
        instrument_kind=fields.choice(
            f"{prefix}instrument_kind",
            INSTRUMENT_KINDS,
            words="Choose the instrument this piece is for.",
        ),
        maker=fields.text(f"{prefix}maker"),
        model=fields.text(f"{prefix}model"),
        marking=fields.text(f"{prefix}marking"),
        material=fields.choice(
            f"{prefix}material", MATERIALS, words="Choose the material.", default="unknown"
        ),
        table_length_mm=fields.length_mm(f"{prefix}table_length", SCALES["length_mm"]),
        telling_marks=fields.text(f"{prefix}telling_marks", limit=1000),
        notes=fields.text(f"{prefix}notes", limit=5000),
    )
    if not (entry.maker or entry.model or entry.marking or entry.telling_marks):
        fields.refuse(
            f"{prefix}marking",
            "Write something the piece can be known by: its maker, model, marking, or a mark "
            "that tells it from its twin.",
        )
    return entry


def parse_piece(raw: Mapping[str, str]) -> PieceEntry | Refused:
    """Read a piece's own page."""
    fields = Fields(raw)
    entry = read_piece(fields)
    return fields.refused() or entry


def name_piece(maker: str, model: str, marking: str, telling_marks: str = "") -> str:
    """Say which piece it is in one line, as it is stamped."""
    parts = [part for part in (maker, model) if part]
    name = " ".join(parts)
    if marking and marking.casefold() not in name.casefold():
        name = f"{name} “{marking}”" if name else f"“{marking}”"
    return name or telling_marks or "unmarked piece"
