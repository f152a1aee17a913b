"""Blades read together, and which set each family of instruments is read with."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from app.core.values.forms import Fields, Refused
from app.core.values.units import format_blade


@dataclass(frozen=True, slots=True)
class Family:
    """Instruments whose facings are alike enough to be read with the same blades."""

    key: str
    label: str
    kinds: tuple[str, ...]


# Our own grouping, by how far the tips open and the facings reach.
FAMILIES: dict[str, Family] = {
    family.key: family
    for family in (
        Family("clarinets", "A♭, E♭, D, C, B♭, A and basset clarinets",
               ("clarinet_ab", "clarinet_eb", "clarinet_d", "clarinet_c", "clarinet_bb",
                "clarinet_basset")),
        Family("low_clarinets", "basset horn, alto, bass, contra-alto and contrabass clarinets",
               ("basset_horn", "clarinet_alto", "clarinet_bass", "clarinet_contra_alto",
                "clarinet_contra")),
        Family("high_saxophones", "sopranino and soprano saxophones",
               ("sax_sopranino", "sax_soprano")),
        Family("saxophones", "alto, C-melody, tenor, baritone, bass and contrabass saxophones",
               ("sax_alto", "sax_c_melody", "sax_tenor", "sax_baritone", "sax_bass",
                "sax_contrabass")),
        Family("others", "others", ("other",)),
    )
}  # fmt: skip


def family_of(instrument_kind: str) -> str:
    """Name the family a kind of instrument belongs to."""
    return next(
        (family.key for family in FAMILIES.values() if instrument_kind in family.kinds), "others"
    )


@dataclass(frozen=True, slots=True)
class BladeSetEntry:
    """A blade set as typed: its name and its blades by their record's id."""

    name: str
    gauge_ids: tuple[int, ...]


def parse_blade_set(
    raw: Mapping[str, str], ticked: Sequence[str], known: Mapping[int, float]
) -> BladeSetEntry | Refused:
    """Read a blade set's page; `ticked` are the blades chosen, `known` the thickness of each."""
    fields = Fields(raw)
    chosen = tuple(
        dict.fromkeys(int(text) for text in ticked if text.isdecimal() and len(text) < 10)
    )
    if not chosen:
        fields.refuse("blade", "Choose at least one blade.")
    elif not set(chosen) <= set(known):
        fields.refuse("blade", "One of these blades is not in the register any more.")
    else:
        sizes = [round(known[blade_id], 6) for blade_id in chosen]
        if twice := sorted({size for size in sizes if sizes.count(size) > 1}):
            names = " and ".join(format_blade(size) for size in twice)
            fields.refuse("blade", f"Two blades of {names} are chosen; take one of them.")
    entry = BladeSetEntry(fields.text("name", needed="Give the set a name.", limit=80), chosen)
    return fields.refused() or entry


def parse_families(
    raw: Mapping[str, str], known: Collection[int]
) -> Mapping[str, int | None] | Refused:
    """Read which set each family is read with; None is the shop's usual one."""
    fields = Fields(raw)
    chosen: dict[str, int | None] = {}
    for family in FAMILIES:
        chosen[family] = fields.number_of(f"family_{family}")
        if chosen[family] is not None and chosen[family] not in known:
            fields.refuse(f"family_{family}", "Choose a set from the list.")
    return fields.refused() or chosen
