"""The shop's own settings: what stands on its papers and how its gauges are engraved."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from app.core.facing.measurements import RAIL_VIEWS
from app.core.plan.targets import TOLERANCES, read_tolerance
from app.core.values.forms import Fields, Refused
from app.core.values.units import SCALES

PAPERS: dict[str, str] = {"A4": "A4 (210 × 297 mm)", "Letter": "Letter (216 × 279 mm)"}

BEGINNINGS: dict[str, str] = {"own": "the shop's own book", "made_up": "a made-up shop"}

DEFAULT_TERMS = (
    "Material can only be taken away, so work agreed and done can’t be undone. "
    "We take the same care of it as of our own; our liability ends at the declared value. "
    "Pieces not collected within six months of notice may be returned by post at the owner’s cost."
)
DEFAULT_CARE = (
    "Clean it before you play: it comes from a bench. Swab it dry after playing, and take the "
    "reed off when you put it away."
)

# one number of a half-millimetre glass, two hundredths at the tip: common practice, no source
USUAL_TOLERANCES_MM = {"position_tolerance": 0.5, "tip_tolerance": 0.02, "gap_tolerance": 0.02}


BLADE_ORDERS: dict[str, str] = {"thin_first": "thin to thick", "thick_first": "thick to thin"}


@dataclass(frozen=True, slots=True)
class ShopEntry:
    """The settings page as typed; gauges and the blade set by their record's id."""

    name: str
    address: str
    phone: str
    email: str
    terms: str
    care_text: str
    currency: str
    paper: str
    glass_id: int
    wedge_id: int
    bore_gauge_id: int
    blade_set_id: int
    blade_order: str
    rails_seen: str
    evenness_tolerance_mm: float
    position_tolerance_mm: float
    tip_tolerance_mm: float
    gap_tolerance_mm: float
    most_table_mm: float | None
    most_rail_mm: float | None
    tilt_limit_mm_per_mm: float
    papers_address: str = ""
    tax_name: str = ""
    tax_percent: float | None = None
    pay_words: str = ""
    pay_days: int | None = None
    look_again_months: int | None = None


def parse_shop(raw: Mapping[str, str]) -> ShopEntry | Refused:
    """Read the settings page."""
    fields = Fields(raw)
    tolerance = fields.length_mm("evenness_tolerance", SCALES["length_mm"])
    if tolerance is None:
        fields.refuse("evenness_tolerance", "Write how far the rails may differ, in mm.")
    elif not 0.05 <= tolerance <= 5:
        fields.refuse("evenness_tolerance", "A tolerance is between 0.05 and 5 mm along the glass.")
    entry = ShopEntry(
        name=fields.text("name", needed="Write the shop's name; it heads every paper."),
        address=fields.text("address", limit=500),
        phone=fields.text("phone", limit=80),
        email=fields.text("email"),
        terms=fields.text("terms", limit=700),
        care_text=fields.text("care_text", limit=700),
        currency=fields.text("currency", needed="Write the currency, such as EUR.", limit=8),
        paper=fields.choice("paper", PAPERS, words="Choose the paper size."),
        glass_id=fields.number_of("glass_id", needed="Choose the glass.") or 0,
        wedge_id=fields.number_of("wedge_id", needed="Choose the tip wedge.") or 0,
        bore_gauge_id=fields.number_of("bore_gauge_id", needed="Choose the bore gauge.") or 0,
        blade_set_id=fields.number_of("blade_set_id", needed="Choose the blade set.") or 0,
        blade_order=fields.choice(
            "blade_order", BLADE_ORDERS, words="Choose the order.", default="thin_first"
        ),
        rails_seen=fields.choice(
            "rails_seen", RAIL_VIEWS, words="Say how you look at a rail.", default="tip_up"
        ),
        evenness_tolerance_mm=tolerance or 0.0,
        **_read_papers(fields),
        **_read_planning(fields),
    )
    return fields.refused() or entry


def _read_papers(fields: Fields) -> dict[str, Any]:
    """Read what bills, cards and codes say of the shop; each may be empty."""
    percent = fields.length_mm("tax_percent", SCALES["length_mm"])
    if percent is not None and not 0 < percent < 100:
        fields.refuse("tax_percent", "A tax is between 0 and 100 percent.")
    days, months = fields.number_of("pay_days"), fields.number_of("look_again_months")
    if days is not None and days > 365:
        fields.refuse("pay_days", "A bill is due within a year.")
    if months is not None and months > 240:
        fields.refuse("look_again_months", "That is more than twenty years.")
    return {
        "papers_address": read_address(fields),
        "tax_name": fields.text("tax_name", limit=40),
        "tax_percent": percent,
        "pay_words": fields.text("pay_words", limit=600),
        "pay_days": days or None,
        "look_again_months": months or None,
    }


def read_address(fields: Fields) -> str:
    """Read the address that codes begin with: http or https, a host, nothing behind it."""
    address = fields.text("papers_address").rstrip("/")
    if address and not re.fullmatch(r"https?://[A-Za-z0-9.\-\[\]:]{1,100}", address):
        fields.refuse(
            "papers_address", "Write the address as http://192.168.1.20:8765, nothing behind it."
        )
    return address


def _read_planning(fields: Fields) -> dict[str, Any]:
    """Read what a new target may be missed by, and the most the shop takes off."""
    columns: dict[str, Any] = {}
    tolerance = read_tolerance(fields)
    for name in TOLERANCES:
        value = getattr(tolerance, name.replace("_tolerance", "_mm"))
        if value is None and name in fields.raw:
            fields.refuse(name, "Write a tolerance in mm; 0 for none.")
        columns[f"{name}_mm"] = USUAL_TOLERANCES_MM[name] if value is None else value
    for name, what in (("most_table", "table"), ("most_rail", "rail")):
        value = fields.length_mm(name, SCALES["length_mm"])
        if value is not None and not 0 < value <= 5:
            fields.refuse(name, f"The most a {what} may lose is between 0 and 5 mm.")
        columns[f"{name}_mm"] = value
    tilt = fields.length_mm("tilt_limit", SCALES["length_mm"]) or 0.0
    if tilt > 1:
        fields.refuse("tilt_limit", "A tilt is at most 1 mm in 10 mm of table.")
    columns["tilt_limit_mm_per_mm"] = tilt / 10.0
    return columns
