"""The stock: a line for each thing kept, and what its lines said before."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core.shop.stock import StockEntry
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.tables import Stock


def list_stock(session: Session, *, low: bool = False) -> Sequence[Stock]:
    """List the stock by name; only what is too few, if asked."""
    lines = select(Stock).order_by(func.lower(Stock.name), Stock.id)
    return session.scalars(lines.where(Stock.count <= Stock.warn_at) if low else lines).all()


def add_stock(session: Session, entry: StockEntry) -> None:
    """Begin a line."""
    keep(session, Stock(**asdict(entry)))


def save_stock(
    session: Session, stock: Stock, entry: StockEntry, seen_version: int | None, now: datetime
) -> None:
    """Change a line and keep what it said; raises Conflict."""
    change_record(session, stock, asdict(entry), seen_version=seen_version, now=now)
