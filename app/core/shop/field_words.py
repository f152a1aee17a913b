"""What a form's fields are called where a page lists them: the words beside their boxes.

Pages that say what was typed, or what another window changed, have the field's name and its raw
value. Both are said here as the form itself says them.
"""

import re
from collections.abc import Mapping
from datetime import date

from app.core.facing.measurements import ROLES
from app.core.jobs.jobs import RETURN_WAYS, TICK_KINDS
from app.core.jobs.photos import MOMENTS, VIEWS
from app.core.jobs.stages import STAGES
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date, format_money
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import MATERIALS
from app.core.values.units import SCALES

LABELS: dict[str, str] = {
    "abrasive": "With",
    "actual": "Size found",
    "beak_slope": "Slope of the beak, degrees",
    "blade_set": "Blade set",
    "bore": "Exit bore",
    "care_text": "Care on the return card",
    "papers_address": "Address on papers",
    "tax_name": "Tax",
    "tax_percent": "Tax, percent",
    "pay_words": "How to pay",
    "pay_days": "Bills are due in, days",
    "look_again_months": "Looked at again after, months",
    "charge_amount": "Amount",
    "charge_label": "For",
    "checked_on": "Checked on",
    "condition_notes": "Where, and how bad",
    "customer_address": "Customer’s address",
    "customer_email": "Customer’s e-mail",
    "customer_name": "Customer’s name",
    "customer_notes": "Notes on the customer",
    "customer_phone": "Customer’s telephone",
    "customer_plays": "Customer plays",
    "done_on": "Day",
    "email": "E-mail",
    "evenness_tolerance": "Rails count as even within",
    "gap_tolerance": "Gap along the rails, ±",
    "grit": "Grit",
    "instrument_kind": "For",
    "kind": "Kind of work",
    "line": "As the notebook has it",
    "material": "Material",
    "most_rail": "Most a rail may lose",
    "most_table": "Most a table may lose",
    "paid_on": "Paid on",
    "pass_note": "Note",
    "payment_amount": "Amount",
    "payment_way": "Paid how",
    "phone": "Telephone",
    "piece_instrument_kind": "Piece is for",
    "piece_maker": "Piece’s maker",
    "piece_marking": "Piece’s marking",
    "piece_material": "Piece’s material",
    "piece_model": "Piece’s model",
    "piece_table_length": "Piece’s table length",
    "piece_telling_marks": "What tells it from its twin",
    "position_tolerance": "Blades, ± along the glass",
    "request": "Asked for",
    "return_by": "Goes home",
    "since": "Since",
    "table_allowance": "What table and shank can lose",
    "telling_marks": "What tells it from its twin",
    "terms": "Terms on the intake slip",
    "tilt_limit": "Tilt allowed",
    "tip": "Tip opening",
    "tip_slope": "Slope behind the tip rail, degrees",
    "tip_tolerance": "Tip opening, ±",
    "tracking": "Tracking number",
    "u": "Sure to, mm",
    "wedge": "Tip wedge",
    "why": "Why it is corrected",
    "window_end": "Tip to the window’s lower edge",
}
WORDS: dict[str, Mapping[str, str]] = {
    "instrument_kind": INSTRUMENT_KINDS,
    "piece_instrument_kind": INSTRUMENT_KINDS,
    "material": MATERIALS,
    "piece_material": MATERIALS,
    "return_by": RETURN_WAYS,
    "role": ROLES,
    "moment": MOMENTS,
    "view": VIEWS,
    "kind": {key: kind.label for key, kind in CUT_KINDS.items()},
    "stage": {key: stage.label for key, stage in STAGES.items()},
    "scale": {key: scale.label for key, scale in SCALES.items()},
    "unit": {key: scale.label for key, scale in SCALES.items()},
}
# what the book's own column adds to the name the form has
_ENDINGS = re.compile(r"_(mm_per_mm|mm|deg|minor|id)$")


def label_field(name: str) -> str:
    """Say what a field, or the book's column behind it, is called on its form."""
    if cell := re.fullmatch(r"b\d+_(left|right)", name):
        return f"{cell.group(1).capitalize()} rail"
    plain = _ENDINGS.sub("", name)
    if plain.removesuffix("_more") in TICK_KINDS:
        kind = TICK_KINDS[plain.removesuffix("_more")]
        return kind.more if plain.endswith("_more") else kind.label
    words = LABELS.get(plain, plain.replace("_", " "))
    return words[:1].upper() + words[1:]


def say_value(name: str, text: str, currency: str = "") -> str:
    """Say a field's raw value as people write it: a date, an amount, a choice in its words."""
    if name.endswith("_minor") and re.fullmatch(r"-?\d+", text):
        return format_money(int(text), currency)
    if name.endswith("_mm") and text:
        return f"{text} mm"
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        try:
            return format_date(date.fromisoformat(text))
        except ValueError:
            return text
    return WORDS.get(name, {}).get(text, text)
