"""The stock: a line for each thing kept, and what its lines said before."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.tables import Stock


def list_stock(session: Session, *, low: bool = False) -> Sequence[Stock]:
    """List the stock by name; only what is too few, if asked."""
    lines = select(Stock).order_by(func.lower(Stock.name), Stock.id)
    return session.scalars(lines.where(Stock.count <= Stock.warn_at) if low else lines).all()
