"""The price list's lines, as records."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.jobs.services import ServiceEntry
from app.store.records.keeping import as_entry, keep
from app.store.records.revisions import change_record
from app.store.tables import Service


def list_services(session: Session, *, also_retired: bool = False) -> list[Service]:
    """List the price list, by what for, then families and materials; or those retired too."""
    services = select(Service).order_by(Service.retired, Service.label, Service.id)
    if not also_retired:
        services = services.where(Service.retired.is_(False))
    return list(session.scalars(services))


def offered_services(session: Session) -> list[ServiceEntry]:
    """The price list's lines as values."""
    return [as_entry(ServiceEntry, service) for service in list_services(session)]


def save_services(
    session: Session,
    entries: Mapping[str, ServiceEntry],
    seen: Mapping[str, int | None],
    now: datetime,
) -> None:
    """Keep the price list by its lines' marks, an id or new; raises Conflict."""
    known = {str(service.id): service for service in list_services(session, also_retired=True)}
    for mark, entry in entries.items():
        if kept := known.get(mark):
            change_record(session, kept, asdict(entry), seen_version=seen.get(mark), now=now)
        else:
            keep(session, Service(**asdict(entry)))
