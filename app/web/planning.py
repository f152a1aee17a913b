"""What several planning pages gather: the uncertainties in use, blade sets, scales."""

from dataclasses import replace

from sqlalchemy.orm import Session

from app.core.measurements import GaugesInUse
from app.core.readings import Uncertainties
from app.core.units import SCALES
from app.store.shop import gauges_in_use, list_blade_sets


def uncertainties_in_use(session: Session) -> Uncertainties:  # noqa: ARG001 - the seam for gauges
    """Give the standard uncertainties every plan reckons with: today those of the service."""
    return Uncertainties()


def choose_gauges(session: Session, blade_set: str, glass: str) -> GaugesInUse:
    """Give the gauges to write a target for: any blade set and any glass, else the shop's own."""
    known = {str(one.id): one.id for one in list_blade_sets(session)}
    gauges = gauges_in_use(session, known.get(blade_set))
    scale = SCALES.get(glass)
    return replace(gauges, glass=scale) if scale and scale.measures == "glass" else gauges
