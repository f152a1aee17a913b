"""Every table and column in words, for whoever reads an export without this program.

`EVERYWHERE` holds what a column means wherever it stands, `WORDS` each table and what is its own.
A unit is part of a name where there is one: `_mm` millimetres, `_deg` degrees, `_px` dots of a
photograph, `_minor` the smallest coin of the shop's currency (cents).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.facing.measurements import RAIL_VIEWS, ROLES
from app.core.gauges.gauges import GAUGE_KINDS
from app.core.jobs.jobs import OUTCOMES, RETURN_WAYS, TICK_KINDS
from app.core.jobs.photos import MOMENTS, VIEWS
from app.core.jobs.slips import SLIP_KINDS
from app.core.jobs.stages import STAGES
from app.core.shop.shop import BLADE_ORDERS
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.lengths import LENGTHS
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import MATERIALS
from app.core.values.units import SCALES
from app.core.values.works import WORK_KINDS


@dataclass(frozen=True, slots=True)
class TableWords:
    """What a table holds, and what its own columns mean."""

    holds: str
    columns: Mapping[str, str]


EVERYWHERE: Mapping[str, str] = {
    "id": "the row's own number, never used twice; other tables point to it",
    "version": "how often the record was changed, and one",
    "created_at": "when the row was written",
    "struck_at": "when the row was struck out; it no longer counts, and is kept",
    "search_text": "the record's words with case and accents folded away, made by the program",
    "note": "a note in the maker's words",
    "notes": "notes in the maker's words",
    "piece_id": "the piece it belongs to",
    "job_id": "the job it belongs to",
    "gauge_id": "the gauge",
    "typed": "what was read, exactly as typed",
    "scale": "the scale that the typed text counts in",
    "value_mm": "the value in mm (of a volume: in ml), without any correction",
    "rail": "left or right side rail, as shop.rails_seen looks at it; empty: both",
    "gap_mm": "the thickness of the blade, or the gap",
    "instrument_kind": "the kind of instrument the piece or facing is for",
    "maker": "the maker, as stamped or told",
    "model": "the model, as stamped or told",
    "quantity": "what was read, such as a blade's stop, the tip opening or the exit bore",
}  # fmt: skip

WORDS: Mapping[str, TableWords] = {
    "shop": TableWords(
        "the shop's settings: one row",
        {
            "name": "the shop's name, as printed",
            "address": "the shop's address",
            "phone": "the shop's telephone",
            "email": "the shop's e-mail",
            "terms": "the terms printed on the intake slip",
            "care_text": "the advice on care printed on the return card",
            "currency": "the currency of every amount",
            "paper": "the size of paper that is usually printed on",
            "glass_id": "the graduated glass usually used (a gauge)",
            "wedge_id": "the tip wedge usually used (a gauge)",
            "bore_gauge_id": "the bore gauge usually used (a gauge)",
            "blade_set_id": "the blade set usually used",
            "evenness_tolerance_mm": "how far left and right may differ along the glass",
            "begun_as": "how the book was begun: as the shop's own, or made up to look around in",
            "position_tolerance_mm": "how far a blade's stop may miss its target",
            "tip_tolerance_mm": "how far the tip opening may miss its target",
            "gap_tolerance_mm": "how far the gap may miss its target",
            "most_table_mm": "the most the shop takes off a table",
            "most_rail_mm": "the most the shop takes off a rail",
            "tilt_limit_mm_per_mm": "the most a table may be tilted, mm each mm of its length",
            "customer_id": "the shop as the owner of the pieces it makes itself",
            "mark": "the shop's mark, an SVG drawing",
            "papers_address": "the address that the codes on papers begin with",
            "tax_name": "what the tax on a bill is called",
            "tax_percent": "the tax in amounts, in percent",
            "pay_words": "how to pay, as printed on a bill",
            "pay_days": "in how many days a bill is due",
            "blade_order": "in which order the shop reads and writes its blades",
            "rails_seen": "how the shop looks at the rails when it says left and right",
            "look_again_months": "after how many months a facing should be looked at again",
        },
    ),
    "customer": TableWords(
        "a person or shop that brings pieces",
        {
            "name": "their name",
            "phone": "their telephone",
            "email": "their e-mail",
            "address": "their address",
            "plays": "what they play",
            "joined_to_id": "the record of the same person that took its place, if one did",
        },
    ),
    "instrument": TableWords(
        "the horn a piece is played on",
        {"customer_id": "whose it is", "kind": "the kind of instrument"},
    ),
    "piece": TableWords(
        "a mouthpiece",
        {
            "owner_id": "whose it is now (a customer)",
            "marking": "what is stamped on it",
            "material": "what it is made of",
            "joined_to_id": "the record of the same piece that took its place, if one did",
            "table_length_mm": "the length of its table",
            "window_end_mm": "where its window ends, from the tip",
            "table_allowance_mm": "how much its table may lose",
            "tip_slope_deg": "the slope behind its tip rail",
            "beak_slope_deg": "the slope of its beak",
            "telling_marks": "what tells it from its twin",
        },
    ),
    "ownership": TableWords(
        "who owned a piece from when, as far as the book knows",
        {"customer_id": "the owner", "since": "from which day"},
    ),
    "joining": TableWords(
        "two records of one piece, or of one person, made one",
        {
            "noun": "piece or customer",
            "kept_id": "the record that was kept",
            "gone_id": "the record whose rows went over to it",
            "at": "when they were made one",
            "moved": "which rows went over, and which empty fields were filled, as JSON",
            "undone_at": "when it was taken back, if it was",
        },
    ),
    "job": TableWords(
        "one piece, brought once",
        {
            "number": "the job's number, as on its papers",
            "customer_id": "who brought it",
            "instrument_id": "the horn it is played on",
            "facing_id": "the facing that was aimed at",
            "order_id": "the first job of the order that it came in with (a job); none: it is that",
            "stage": "how far the job has come",
            "dropped_off": "the day it came; while it is expected, the day that was agreed on",
            "expected_on": "the day it was expected, if it was agreed before it came",
            "wanted_by": "the day it is wanted",
            "returned_on": "the day it went home",
            "request": "what the player asked for",
            "played_with": "the reed and set-up that the player plays it with",
            "condition_notes": "its condition when it came, in words",
            "declared_value_minor": "what the player says it is worth",
            "agreed_work": "what was agreed",
            "agreed_price_minor": "the price that was agreed",
            "deposit_minor": "the deposit that was agreed",
            "price_in_lines": "whether the charges tell the agreed price too (older books)",
            "return_by": "how it goes home",
            "tracking": "the parcel's number",
        },
    ),
    "job_tick": TableWords(
        "a line ticked at drop-off or at the bench",
        {
            "kind": "which list",
            "label": "the line",
            "outcome": "of a complaint: how it was after the work; empty: not known",
        },
    ),
    "event": TableWords(
        "a job's dated history",
        {
            "kind": "what kind of line: stage, readings, pass, work, slip, payment, photo, note",
            "on_date": "the day it happened",
            "at": "when it was written down",
            "words": "what happened",
            "stage": "the stage that the job came to, if it did",
        },
    ),
    "reading_set": TableWords(
        "readings taken together; never changed, a correction is a new set",
        {
            "job_id": "the job during which it was taken, if any",
            "role": "at which point it was taken",
            "taken_on": "the day",
            "blade_set_id": "the blades it was read with",
            "glass_id": "the graduated glass it was read on (a gauge)",
            "wedge_id": "the tip wedge it was read with (a gauge)",
            "bore_gauge_id": "the bore gauge it was read with (a gauge)",
            "replaces_id": "the set that this one corrects",
            "replaces_why": "why it was corrected",
            "unread_mm": "the blades that were felt on neither rail, by their thickness in mm",
            "read_once": "whether one number was given for both rails",
        },
    ),
    "reading": TableWords(
        "one reading",
        {
            "set_id": "the reading set it belongs to",
            "gauge_id": "the blade or gauge it was read with",
            "depth_mm": "how deep in the bore, or how far from the tip, it was read",
            "depth_typed": "that depth, exactly as typed",
            "name": "the name of a length that has no name of the program's own",
        },
    ),
    "bench_pass": TableWords(
        "one spell at the bench",
        {
            "done_on": "the day",
            "kind": "the kind of cut",
            "abrasive": "the abrasive",
            "grit": "its grit",
            "strokes": "how many strokes",
            "minutes": "how many minutes",
        },
    ),
    "work": TableWords(
        "work on a piece that is no cut",
        {
            "done_on": "the day",
            "kind": "the kind of work",
            "label": "the shop's own word for it, where the kind is another",
            "material": "with what",
            "minutes": "how many minutes",
            "typed": "by how much the tip was shortened, exactly as typed",
            "amount_mm": "by how much the tip was shortened",
            "price_minor": "what it costs beside the agreed price",
        },
    ),
    "facing": TableWords(
        "a target: a facing of the shop's own, or one job's",
        {
            "name": "its name",
            "told_by": "how it is told: by readings, or as a plain curve by length and tip opening",
            "curve": "the kind of plain curve",
            "shape": "the number that some curves need besides length and tip opening",
            "position_tolerance_mm": "how far a blade's stop may miss it; none is the shop's usual",
            "tip_tolerance_mm": "how far the tip opening may miss it; none is the shop's usual",
            "gap_tolerance_mm": "how far the gap may miss it; none is the shop's usual",
            "source_set_id": "the reading set it was copied from",
            "in_library": "whether it stands in the shop's library",
        },
    ),
    "facing_reading": TableWords(
        "one number of a facing",
        {"facing_id": "the facing", "gauge_id": "the blade, if it is a blade's stop"},
    ),
    "batch": TableWords(
        "pieces of the shop's own making, made to one facing",
        {
            "name": "its name",
            "facing_id": "the facing they are made to",
            "started_on": "the day it was begun",
        },
    ),
    "batch_piece": TableWords(
        "a piece's place in its batch",
        {
            "batch_id": "the batch",
            "place": "its place; 1 was made first",
            "left_at": "when it left the batch, if it did; its place stays",
            "price_minor": "what it is for sale at",
        },
    ),
    "gauge": TableWords(
        "a blade, glass, tip wedge, bore gauge, dial or calliper",
        {
            "kind": "what it is",
            "label": "its name in the shop",
            "nominal_mm": "the size it is marked with",
            "scale": "the scale engraved on it",
            "resolution_mm": "the smallest step that is read on it",
            "tolerance_mm": "how far it may be from what it is marked with",
            "repeatability_mm": "how well the shop's hand repeats it: a standard deviation",
            "laying_mm": "how well a glass is laid each time: a standard uncertainty",
            "retired": "whether it is no longer used",
        },
    ),
    "gauge_check": TableWords(
        "what a gauge was found to be on a day",
        {
            "checked_on": "the day",
            "mark_typed": "which of its marks was checked, as typed",
            "mark_mm": "which of its marks was checked",
            "actual_mm": "what the blade, or the mark, truly is",
            "u_mm": "the standard uncertainty of that",
            "method": "how it was found",
        },
    ),
    "study": TableWords(
        "how well one hand repeats one gauge",
        {
            "read_on_id": "the glass it was read on, if any (a gauge)",
            "done_on": "the day",
            "adopted_on": "the day from which its result counts",
        },
    ),
    "study_reading": TableWords(
        "one reading of such a study",
        {
            "study_id": "the study",
            "piece_place": "which of its pieces",
            "piece": "what that piece is called in it",
            "turn": "the how-manieth reading of that piece",
        },
    ),
    "blade_set": TableWords("blades used together", {"name": "its name"}),
    "blade_set_member": TableWords(
        "a blade's place in a set",
        {"blade_set_id": "the set", "gauge_id": "the blade", "place": "0 is the thickest"},
    ),
    "family_blade_set": TableWords(
        "the blade set that a family of instruments is read with, where it is not the usual one",
        {"family": "the family", "blade_set_id": "the set"},
    ),
    "checklist_item": TableWords(
        "a line that a shop added to those that are offered to be ticked",
        {
            "kind": "which list",
            "label": "the line",
            "place": "where it stands in its list",
        },
    ),
    "service": TableWords(
        "a line of the shop's price list",
        {
            "label": "what for",
            "family": "the family of instruments that the price is for; empty: all others",
            "material": "the material that the price is for; empty: all others",
            "price_minor": "what it costs",
            "retired": "whether it is no longer offered",
        },
    ),
    "charge": TableWords(
        "a line of a job's bill",
        {
            "label": "what for",
            "amount_minor": "how much; below zero it is taken off",
            "charged_on": "the day",
        },
    ),
    "payment": TableWords(
        "a payment",
        {
            "paid_on": "the day",
            "kind": "deposit, payment, or refund (money paid back)",
            "way": "how it was paid",
            "amount_minor": "how much; below zero it was paid back",
        },
    ),
    "memo": TableWords(
        "something written down beside a piece or its job: a play-test, a parcel, a trial, a sale",
        {
            "job_id": "the job it belongs to, if any",
            "customer_id": "who it is about or goes to, if not who brought the piece",
            "kind": "what it is",
            "on_date": "the day",
            "due": "the day on which something is awaited, or until which it holds",
            "done_on": "the day it came",
            "details": "what was written, by field",
        },
    ),
    "stock": TableWords(
        "what the shop keeps to work with: blanks, papers, reeds",
        {
            "name": "what it is",
            "count": "how many there are",
            "warn_at": "how many left are too few",
        },
    ),
    "message_text": TableWords(
        "the shop's own wording of a message to customers",
        {"kind": "which message", "subject": "its subject", "body": "its words, with fields in {}"},
    ),
    "slip": TableWords(
        "a paper as issued",
        {
            "number": "the paper's own number",
            "job_id": "the job it is about, if any",
            "kind": "which paper it is",
            "issued_on": "the day it was issued",
            "issued_at": "when it was issued",
            "paper": "the size of the sheet",
            "sheet": "the style sheet that the program shows it with",
            "printed": "the values that it printed, as JSON",
            "html": "the file that holds its words",
        },
    ),
    "slip_file": TableWords(
        "a file that an issued paper came with: its pages (SVG, compressed by gzip), its PDF",
        {"slip_id": "the paper", "name": "the file's name", "content": "where the file lies here"},
    ),
    "photo": TableWords(
        "what is written beside a photograph; its dots are in the folder photos/",
        {
            "job_id": "the job it belongs to, if any",
            "moment": "when it was taken",
            "view": "what it shows",
            "caption": "what is written below it",
            "on_card": "whether the return card shows it",
            "name": "its file: photos/NAME.jpg, and small photos/NAME-small.jpg",
            "width_px": "its width",
            "height_px": "its height",
        },
    ),
    "forgetting": TableWords(
        "a customer who asked to be forgotten",
        {
            "customer_id": "whose row no longer names anybody",
            "at": "when they were forgotten",
            "removed": "how much was removed, in counts, as JSON",
            "files_left": "photographs still to be removed then, as JSON",
            "finished_at": "when nothing of them was left in the database's file",
        },
    ),
    "revision": TableWords(
        "what a record said before it was changed",
        {
            "noun": "the table of the record",
            "record_id": "the number of the record",
            "at": "when it was changed",
            "before": "what the changed columns said, as JSON",
        },
    ),
}

# What the codes in a column mean, by table and column.
CODES: Mapping[str, Mapping[str, str]] = {
    "job.stage": {key: one.label for key, one in STAGES.items()},
    "event.stage": {key: one.label for key, one in STAGES.items()},
    "job.return_by": RETURN_WAYS,
    "job_tick.kind": {key: one.label for key, one in TICK_KINDS.items()},
    "job_tick.outcome": OUTCOMES,
    "checklist_item.kind": {
        **{key: one.label for key, one in TICK_KINDS.items()},
        "work": "Work that is no cut",
    },
    "reading_set.role": ROLES,
    "shop.blade_order": BLADE_ORDERS,
    "shop.rails_seen": RAIL_VIEWS,
    "reading.scale": {key: one.label for key, one in SCALES.items()},
    "reading.quantity": {
        "blade": "where a blade stops, counted from the tip",
        "tip": "the tip opening",
        "bore": "the diameter of the bore, at its exit or at a depth",
        "dial": "the gap that a dial reads at a place counted from the tip",
        **{key: one.label for key, one in LENGTHS.items()},
    },
    "bench_pass.kind": {key: one.label for key, one in CUT_KINDS.items()},
    "work.kind": {key: one.label for key, one in WORK_KINDS.items()},
    "piece.material": MATERIALS,
    "piece.instrument_kind": INSTRUMENT_KINDS,
    "gauge.kind": {key: one.label for key, one in GAUGE_KINDS.items()},
    "slip.kind": {key: one.label for key, one in SLIP_KINDS.items()},
    "photo.moment": MOMENTS,
    "photo.view": VIEWS,
}


def describe_table(table: str) -> str:
    """Say what a table holds; empty for one of an older book that is no more."""
    return WORDS[table].holds if table in WORDS else ""


def describe_column(table: str, column: str) -> str:
    """Say what a column means; empty for one of an older book that is no more."""
    own = WORDS[table].columns if table in WORDS else {}
    return own.get(column) or EVERYWHERE.get(column, "")
