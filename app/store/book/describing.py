"""Every table and column in words, for whoever reads an export without this program.

The words stand in `templates/exports/columns.toml`; what codes mean comes from their own tables.
"""

import tomllib
from collections.abc import Mapping
from functools import cache

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
from app.packed import folder_of


@cache
def column_words() -> dict[str, dict[str, str]]:
    """What each table holds, under "table", and its columns by name; also those "everywhere"."""
    file = folder_of("templates") / "exports" / "columns.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


# What the codes in a column mean, by table and column.
CODES: Mapping[str, Mapping[str, str]] = {
    "job.stage": {key: stage.label for key, stage in STAGES.items()},
    "event.stage": {key: stage.label for key, stage in STAGES.items()},
    "job.return_by": RETURN_WAYS,
    "job_tick.kind": {key: kind.label for key, kind in TICK_KINDS.items()},
    "job_tick.outcome": OUTCOMES,
    "checklist_item.kind": {
        **{key: kind.label for key, kind in TICK_KINDS.items()},
        "work": "Work that is no cut",
    },
    "reading_set.role": ROLES,
    "shop.blade_order": BLADE_ORDERS,
    "shop.rails_seen": RAIL_VIEWS,
    "reading.scale": {key: scale.label for key, scale in SCALES.items()},
    "reading.quantity": {
        "blade": "where a blade stops, counted from the tip",
        "tip": "the tip opening",
        "bore": "the diameter of the bore, at its exit or at a depth",
        "dial": "the gap that a dial reads at a place counted from the tip",
        **{key: length.label for key, length in LENGTHS.items()},
    },
    "bench_pass.kind": {key: kind.label for key, kind in CUT_KINDS.items()},
    "work.kind": {key: kind.label for key, kind in WORK_KINDS.items()},
    "piece.material": MATERIALS,
    "piece.instrument_kind": INSTRUMENT_KINDS,
    "gauge.kind": {key: kind.label for key, kind in GAUGE_KINDS.items()},
    "slip.kind": {key: kind.label for key, kind in SLIP_KINDS.items()},
    "photo.moment": MOMENTS,
    "photo.view": VIEWS,
}


def describe_table(table: str) -> str:
    """Say what a table holds; empty for one of an older book that is no more."""
    return column_words().get(table, {}).get("table", "")


def describe_column(table: str, column: str) -> str:
    """Say what a column means; empty for one of an older book that is no more."""
    words = column_words()
    return words.get(table, {}).get(column) or words["everywhere"].get(column, "")
