"""Work on a piece that is no cut: corks, cracks, patches, plating, polish, and a shortened tip.

A kind says for which families it is offered; a shop adds its own in its own words. A shortened tip
takes every number with it: the curve stays where it is on the table.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.core.values.customers import has_tenon
from app.core.values.forms import Fields, Refused
from app.core.values.passes import PassEntry, say_done, tell_done
from app.core.values.units import SCALES, format_mm

MOST_SHORTENED_MM = 15.0
OWN = "other"
CUT_BACK = "cut_back"


@dataclass(frozen=True, slots=True)
class WorkKind:
    """A kind of work: its label, how it is said to be done, and for what it is offered.

    `tenon` is whether it needs a piece that ends in a tenon, or in a plain shank; None: neither.
    """

    key: str
    label: str
    done: str
    tenon: bool | None = None

    def fits(self, instrument_kind: str) -> bool:
        """Say whether it is offered for a kind of instrument."""
        return self.tenon is None or self.tenon == has_tenon(instrument_kind)


WORK_KINDS: dict[str, WorkKind] = {
    kind.key: kind
    for kind in (
        WorkKind("tenon_cork", "tenon cork", "Renewed the tenon cork", tenon=True),
        WorkKind("tenon_ring", "tenon ring", "Worked on the tenon ring", tenon=True),
        WorkKind("shank_band", "band on the shank", "Worked on the band of the shank", tenon=False),
        WorkKind("crack", "crack mended", "Mended a crack"),
        WorkKind("chip", "chip filled", "Filled a chip"),
        WorkKind("bite_patch", "bite patch", "Put a bite patch on the beak"),
        WorkKind("bite_marks", "bite marks filled", "Filled bite marks on the beak"),
        WorkKind("baffle_patch", "baffle patch", "Put a patch on the baffle"),
        WorkKind("plating", "plating", "Had it plated"),
        WorkKind("polish", "polish", "Polished it"),
        WorkKind("colour", "discolouring taken off", "Took the discolouring off"),
        WorkKind("cleaning", "cleaning", "Cleaned it"),
        WorkKind(CUT_BACK, "shortening the tip (cut back)", "Shortened the tip"),
        WorkKind(OWN, "other work", ""),
    )
}


@dataclass(frozen=True, slots=True)
class WorkEntry:
    """A work as typed; `label` is the shop's own word for a kind that is not known here."""

    done_on: date
    kind: str
    label: str
    material: str
    minutes: int | None
    typed: str
    amount_mm: float | None
    price_minor: int | None
    note: str


def work_choices(instrument_kind: str, own: Sequence[str]) -> list[tuple[str, str]]:
    """List what the form offers for a piece: the kinds that fit, then the shop's own."""
    known = [
        (kind.key, kind.label)
        for kind in WORK_KINDS.values()
        if kind.key != OWN and kind.fits(instrument_kind)
    ]
    return [*known, *((label, label) for label in own)]


def parse_work(
    raw: Mapping[str, str],
    own: Collection[str],
    instrument_kind: str,
    today: date,
    currency: str = "",
    came: date | None = None,
) -> WorkEntry | Refused:
    """Read the form of a work; words of the shop's own come before what is chosen."""
    fields = Fields(raw, currency=currency)
    label = fields.text("work_label", limit=80)
    kind = OWN
    if not label:
        kind = fields.choice(
            "work_kind", {*WORK_KINDS, *own}, words="Choose the work, or write your own word."
        )
        if kind in own:
            kind, label = OWN, kind
        elif kind == OWN:
            fields.refuse("work_label", "Write what was done.")
        elif kind in WORK_KINDS and not WORK_KINDS[kind].fits(instrument_kind):
            fields.refuse("work_kind", _no_such_part(instrument_kind))
    minutes = fields.number_of("work_minutes")
    if minutes is not None and minutes > 6000:
        fields.refuse("work_minutes", "That is more than a hundred hours; write several works.")
    amount = fields.length_mm("work_amount", SCALES["length_mm"])
    if kind == CUT_BACK and not amount:
        fields.refuse("work_amount", "Write by how many mm the tip was shortened.")
    elif kind != CUT_BACK and amount is not None:
        fields.refuse("work_amount", "Only a shortened tip has an amount in mm.")
    elif amount and amount > MOST_SHORTENED_MM:
        fields.refuse("work_amount", f"{format_mm(amount, 1)} mm would leave no facing.")
    entry = WorkEntry(
        done_on=fields.past_day("work_on", today, "Work", came),
        kind=kind,
        label=label,
        material=fields.text("work_material", limit=120),
        minutes=minutes,
        typed=fields.text("work_amount", limit=40),
        amount_mm=amount,
        price_minor=fields.money_minor("work_price"),
        note=fields.text("work_note", limit=2000),
    )
    return fields.refused() or entry


def _no_such_part(instrument_kind: str) -> str:
    if not has_tenon(instrument_kind):
        return "A saxophone’s mouthpiece has no tenon: its cork is on the neck."
    return "This belongs to saxophone mouthpieces."


def label_work(kind: str, label: str, amount_mm: float | None) -> str:
    """Name a work for a list: tenon cork; shortening the tip (cut back), 0.4 mm."""
    name = label or WORK_KINDS[kind].label
    return f"{name}, {format_mm(amount_mm)} mm" if amount_mm else name


def describe_work(entry: WorkEntry) -> str:
    """Say a work in one line: tenon cork, sheet cork 1.6 mm, 25 min."""
    parts = [label_work(entry.kind, entry.label, entry.amount_mm), entry.material]
    parts.append(f"{entry.minutes} min" if entry.minutes else "")
    return ", ".join(part for part in parts if part)


def shortened_mm(works: Sequence[WorkEntry]) -> float:
    """Add up by how much works shortened the tip."""
    return sum(work.amount_mm or 0.0 for work in works if work.kind == CUT_BACK)


def say_carried(by_mm: float) -> str:
    """Say how figures from before a shortened tip are counted."""
    return (
        f"The tip was shortened by {format_mm(by_mm)} mm: where blades stopped before is counted "
        "from the tip as it is now."
    )


def done_lines(passes: Sequence[PassEntry], works: Sequence[WorkEntry]) -> tuple[str, ...]:
    """Say for a player what was done, in the past tense: only what was noted, each kind once."""
    kinds: dict[tuple[str, str], list[WorkEntry]] = {}
    for work in works:
        kinds.setdefault((work.kind, work.label), []).append(work)
    return (*tell_done(passes), *(_say_kind(of_kind) for of_kind in kinds.values()))


def say_all_done(passes: Sequence[PassEntry], works: Sequence[WorkEntry]) -> str:
    """Say for a maker what was done: passes by kind of cut, then each work."""
    lines = [f"{describe_work(work)}." for work in works]
    return " ".join([say_done(passes), *(words[:1].upper() + words[1:] for words in lines)]).strip()


def _say_kind(works: Sequence[WorkEntry]) -> str:
    kind, label = works[0].kind, works[0].label
    words = WORK_KINDS[kind].done or f"{label[:1].upper()}{label[1:]}"
    if kind == CUT_BACK:
        words += f" by {format_mm(shortened_mm(works))} mm"
    materials = ", ".join(dict.fromkeys(work.material for work in works if work.material))
    return f"{words} ({materials})." if materials else f"{words}."
