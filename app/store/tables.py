"""The tables: one class each, named alike, in the order of a job's life.

Nothing measured is ever overwritten: a correction is a new reading set that names the one it
replaces. Lengths are mm, money integer minor units, times UTC. Relations raise when they were not
loaded on purpose, so that a page never queries by accident.
"""

import re
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Date,
    DateTime,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
    false,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column, relationship


class Moment(TypeDecorator[datetime]):
    """A moment, kept in UTC without a zone and given back as the bench's clock showed it."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Refuse a moment without a zone and keep it as UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any, _dialect: Dialect) -> datetime | None:
        """The moment, in the bench's own time zone."""
        return None if value is None else value.replace(tzinfo=UTC).astimezone()


class Base(DeclarativeBase):
    """The tables' common ground: constraint names that migrations can rely on."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy's own declaration
        datetime: Moment,
        date: Date,
        str: Text,
        dict[str, Any]: JSON,
        bytes: LargeBinary,
    }

    @declared_attr.directive
    def __tablename__(cls) -> str:  # noqa: N805 - SQLAlchemy gives it the class
        """The class's name in small letters, its words joined: bench_pass."""
        return re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()


class Numbered(Base):
    """A table whose rows have a number of their own, never used twice."""

    __abstract__ = True
    id: Mapped[int] = mapped_column(primary_key=True, sort_order=-1)


class Gauge(Numbered):
    """A blade, glass, tip wedge, bore gauge, dial or calliper of the shop."""

    kind: Mapped[str] = mapped_column(String(40), index=True)
    label: Mapped[str]
    nominal_mm: Mapped[float | None]
    scale: Mapped[str | None] = mapped_column(String(40))
    resolution_mm: Mapped[float | None]
    tolerance_mm: Mapped[float | None]
    repeatability_mm: Mapped[float | None]
    laying_mm: Mapped[float | None]
    retired: Mapped[bool] = mapped_column(default=False)
    notes: Mapped[str] = mapped_column(default="")
    version: Mapped[int] = mapped_column(default=1, server_default="1")
    checks: Mapped[list["GaugeCheck"]] = relationship(
        order_by="(GaugeCheck.checked_on, GaugeCheck.id)", lazy="raise", back_populates="gauge"
    )
    studies: Mapped[list["Study"]] = relationship(
        order_by="(Study.done_on, Study.id)", lazy="raise", back_populates="gauge",
        foreign_keys="Study.gauge_id",
    )  # fmt: skip


class GaugeCheck(Numbered):
    """What one gauge was found to be on a day: never changed, only struck out.

    A blade is checked as a whole; on an engraved gauge one of its marks is, and `mark_mm` says
    which.
    """

    gauge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"), index=True)
    checked_on: Mapped[date]
    mark_typed: Mapped[str] = mapped_column(default="")
    mark_mm: Mapped[float | None]
    typed: Mapped[str]
    scale: Mapped[str] = mapped_column(String(40))
    actual_mm: Mapped[float]
    u_mm: Mapped[float]
    method: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]
    gauge: Mapped[Gauge] = relationship(lazy="raise", back_populates="checks")


class Study(Numbered):
    """How well one hand repeats one gauge: readings of a few pieces, each several times."""

    gauge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"), index=True)
    read_on_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    scale: Mapped[str] = mapped_column(String(40))
    done_on: Mapped[date]
    note: Mapped[str] = mapped_column(default="")
    adopted_on: Mapped[date | None]
    created_at: Mapped[datetime]
    gauge: Mapped[Gauge] = relationship(
        lazy="raise", back_populates="studies", foreign_keys=[gauge_id]
    )
    read_on: Mapped[Gauge | None] = relationship(lazy="raise", foreign_keys=[read_on_id])
    readings: Mapped[list["StudyReading"]] = relationship(
        order_by="(StudyReading.piece_place, StudyReading.turn)", lazy="raise"
    )


class StudyReading(Numbered):
    """One reading of a study: which piece, at which turn, the text as typed, its value in mm."""

    study_id: Mapped[int] = mapped_column(ForeignKey("study.id"), index=True)
    piece_place: Mapped[int]
    piece: Mapped[str]
    turn: Mapped[int]
    typed: Mapped[str]
    value_mm: Mapped[float]


class BladeSet(Numbered):
    """Blades used together, thick to thin."""

    name: Mapped[str] = mapped_column(unique=True)
    version: Mapped[int] = mapped_column(default=1, server_default="1")
    members: Mapped[list["BladeSetMember"]] = relationship(
        back_populates="blade_set", order_by="BladeSetMember.place", lazy="raise"
    )


class BladeSetMember(Base):
    """A blade's place in a set; place 0 is the thickest."""

    blade_set_id: Mapped[int] = mapped_column(
        ForeignKey("blade_set.id", ondelete="CASCADE"), primary_key=True
    )
    gauge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"), primary_key=True)
    place: Mapped[int]
    blade_set: Mapped[BladeSet] = relationship(back_populates="members", lazy="raise")
    gauge: Mapped[Gauge] = relationship(lazy="raise")


class FamilyBladeSet(Base):
    """The blade set a family of instruments is read with, where it is not the shop's usual one."""

    family: Mapped[str] = mapped_column(String(40), primary_key=True)
    blade_set_id: Mapped[int] = mapped_column(ForeignKey("blade_set.id"))


class Shop(Numbered):
    """The shop's settings: one row."""

    name: Mapped[str]
    address: Mapped[str] = mapped_column(default="")
    phone: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    terms: Mapped[str] = mapped_column(default="")
    care_text: Mapped[str] = mapped_column(default="")
    currency: Mapped[str] = mapped_column(String(8), default="EUR")
    paper: Mapped[str] = mapped_column(String(10), default="A4")
    glass_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"))
    wedge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"))
    bore_gauge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"))
    blade_set_id: Mapped[int] = mapped_column(ForeignKey("blade_set.id"))
    blade_order: Mapped[str] = mapped_column(
        String(20), default="thin_first", server_default="thin_first"
    )
    evenness_tolerance_mm: Mapped[float] = mapped_column(default=0.5)
    begun_as: Mapped[str] = mapped_column(String(20), default="")
    position_tolerance_mm: Mapped[float] = mapped_column(default=0.5, server_default="0.5")
    tip_tolerance_mm: Mapped[float] = mapped_column(default=0.02, server_default="0.02")
    gap_tolerance_mm: Mapped[float] = mapped_column(default=0.02, server_default="0.02")
    most_table_mm: Mapped[float | None]
    most_rail_mm: Mapped[float | None]
    tilt_limit_mm_per_mm: Mapped[float] = mapped_column(default=0.0, server_default="0")
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"))
    # an SVG text; left out of every page's settings, which would carry it along for nothing
    mark: Mapped[str] = mapped_column(
        default="", server_default="", deferred=True, deferred_raiseload=True
    )
    papers_address: Mapped[str] = mapped_column(default="", server_default="")
    tax_name: Mapped[str] = mapped_column(default="", server_default="")
    tax_percent: Mapped[float | None]
    pay_words: Mapped[str] = mapped_column(default="", server_default="")
    pay_days: Mapped[int | None]
    look_again_months: Mapped[int | None] = mapped_column(default=24, server_default="24")
    rails_seen: Mapped[str] = mapped_column(String(20), default="tip_up", server_default="tip_up")
    version: Mapped[int] = mapped_column(default=1)
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)


class ChecklistItem(Numbered):
    """A line a shop added to a checklist while using it; every book offers the usual ones."""

    kind: Mapped[str] = mapped_column(String(40))
    label: Mapped[str]
    place: Mapped[int]
    __table_args__ = (UniqueConstraint("kind", "label"),)


class Customer(Numbered):
    """A person or shop that brings pieces."""

    name: Mapped[str]
    phone: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    address: Mapped[str] = mapped_column(default="")
    plays: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    search_text: Mapped[str] = mapped_column(default="", index=True)  # lists are in its order
    created_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    joined_to_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    pieces: Mapped[list["Piece"]] = relationship(
        back_populates="owner", order_by="Piece.id", lazy="raise"
    )
    instruments: Mapped[list["Instrument"]] = relationship(
        back_populates="customer", order_by="Instrument.id", lazy="raise"
    )


class Instrument(Numbered):
    """The horn a piece is played on."""

    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    maker: Mapped[str] = mapped_column(default="")
    model: Mapped[str] = mapped_column(default="")
    customer: Mapped[Customer] = relationship(back_populates="instruments", lazy="raise")


class Piece(Numbered):
    """A mouthpiece: the record that outlives its owners."""

    owner_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    instrument_kind: Mapped[str] = mapped_column(String(40))
    maker: Mapped[str] = mapped_column(default="")
    model: Mapped[str] = mapped_column(default="")
    marking: Mapped[str] = mapped_column(default="")
    material: Mapped[str] = mapped_column(String(40), default="unknown")
    table_length_mm: Mapped[float | None]
    window_end_mm: Mapped[float | None]
    table_allowance_mm: Mapped[float | None]
    tip_slope_deg: Mapped[float | None]
    beak_slope_deg: Mapped[float | None]
    telling_marks: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    search_text: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    joined_to_id: Mapped[int | None] = mapped_column(ForeignKey("piece.id"), index=True)
    owner: Mapped[Customer] = relationship(back_populates="pieces", lazy="raise")
    ownerships: Mapped[list["Ownership"]] = relationship(
        order_by="(Ownership.since, Ownership.id)", lazy="raise"
    )


class Ownership(Numbered):
    """Who owned a piece from when, as far as the book knows; `piece.owner_id` is the owner now."""

    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    since: Mapped[date]
    customer: Mapped[Customer] = relationship(lazy="raise")


class Joining(Numbered):
    """Two records of one piece or one customer, made one; undone, each has its own again.

    The record that went stays as it was written, with `joined_to_id`. `moved` names the rows that
    went over, by table and column, and under "filled" the columns that the kept one had empty.
    """

    noun: Mapped[str] = mapped_column(String(40))
    kept_id: Mapped[int]
    gone_id: Mapped[int]
    at: Mapped[datetime]
    moved: Mapped[dict[str, Any]]
    undone_at: Mapped[datetime | None]
    __table_args__ = (Index(None, "noun", "kept_id"),)


class Facing(Numbered):
    """A target: told by readings or by a plain curve, in the library or for one job only."""

    name: Mapped[str]
    instrument_kind: Mapped[str] = mapped_column(String(40), index=True)
    told_by: Mapped[str] = mapped_column(String(20))
    curve: Mapped[str | None] = mapped_column(String(40))
    shape: Mapped[float | None]
    position_tolerance_mm: Mapped[float | None]
    tip_tolerance_mm: Mapped[float | None]
    gap_tolerance_mm: Mapped[float | None]
    # reading_set points to job, and job to here: the circle is cut at this reference
    source_set_id: Mapped[int | None] = mapped_column(ForeignKey("reading_set.id", use_alter=True))
    in_library: Mapped[bool] = mapped_column(default=True)
    note: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    readings: Mapped[list["FacingReading"]] = relationship(
        order_by="FacingReading.id", lazy="raise", cascade="all, delete-orphan"
    )


class FacingReading(Numbered):
    """One number of a target: a blade's stop, the facing length or the tip, as typed."""

    facing_id: Mapped[int] = mapped_column(ForeignKey("facing.id", ondelete="CASCADE"), index=True)
    quantity: Mapped[str] = mapped_column(String(40))
    rail: Mapped[str] = mapped_column(String(10), default="")
    gauge_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    gap_mm: Mapped[float | None]
    typed: Mapped[str]
    scale: Mapped[str] = mapped_column(String(40))
    value_mm: Mapped[float]


class Batch(Numbered):
    """Pieces of the shop's own making, made one after another to one target."""

    name: Mapped[str]
    facing_id: Mapped[int] = mapped_column(ForeignKey("facing.id"), index=True)
    started_on: Mapped[date]
    note: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)


class BatchPiece(Base):
    """A piece's place in its batch; place 1 was made first. One that left keeps its place."""

    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), primary_key=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), primary_key=True, unique=True)
    place: Mapped[int]
    left_at: Mapped[datetime | None]
    price_minor: Mapped[int | None]
    piece: Mapped[Piece] = relationship(lazy="raise")


class Job(Numbered):
    """One piece, brought once."""

    number: Mapped[int] = mapped_column(unique=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"))
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    facing_id: Mapped[int | None] = mapped_column(ForeignKey("facing.id"))
    # the first job of the order it came in with; none: it is the first, or came alone
    order_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"), index=True)
    stage: Mapped[str] = mapped_column(String(40), index=True)
    # while it is expected, the day on which that was agreed
    dropped_off: Mapped[date]
    expected_on: Mapped[date | None]
    wanted_by: Mapped[date | None]
    returned_on: Mapped[date | None]
    request: Mapped[str] = mapped_column(default="")
    played_with: Mapped[str] = mapped_column(default="", server_default="")
    condition_notes: Mapped[str] = mapped_column(default="")
    declared_value_minor: Mapped[int | None]
    agreed_work: Mapped[str] = mapped_column(default="")
    agreed_price_minor: Mapped[int | None]
    deposit_minor: Mapped[int | None]
    # in books of before: the lines of the bill tell the agreed price too
    price_in_lines: Mapped[bool] = mapped_column(default=False, server_default=false())
    return_by: Mapped[str] = mapped_column(String(10), default="hand")
    tracking: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    piece: Mapped[Piece] = relationship(lazy="raise")
    customer: Mapped[Customer] = relationship(lazy="raise")
    instrument: Mapped[Instrument | None] = relationship(lazy="raise")
    ticks: Mapped[list["JobTick"]] = relationship(
        order_by="JobTick.id", lazy="raise", cascade="all, delete-orphan"
    )
    events: Mapped[list["Event"]] = relationship(order_by="Event.id", lazy="raise")
    passes: Mapped[list["BenchPass"]] = relationship(
        order_by="(BenchPass.done_on, BenchPass.id)", lazy="raise"
    )
    works: Mapped[list["Work"]] = relationship(order_by="(Work.done_on, Work.id)", lazy="raise")
    reading_sets: Mapped[list["ReadingSet"]] = relationship(
        order_by="ReadingSet.id", lazy="raise", back_populates="job"
    )
    slips: Mapped[list["Slip"]] = relationship(
        order_by="Slip.id", lazy="raise", back_populates="job"
    )
    # In the order in which they are listed, so that the newest come without looking at the rest.
    __table_args__ = (Index(None, "customer_id", "number"), Index(None, "returned_on", "number"))


class JobTick(Numbered):
    """A ticked line: a complaint and its outcome, a condition, what came with it."""

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    label: Mapped[str]
    outcome: Mapped[str] = mapped_column(String(10), default="", server_default="")


class Event(Numbered):
    """The job's dated history: changes of stage, readings, passes, papers, plain notes."""

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    on: Mapped[date] = mapped_column("on_date")
    at: Mapped[datetime]
    words: Mapped[str]
    stage: Mapped[str | None] = mapped_column(String(40))
    struck_at: Mapped[datetime | None]


class ReadingSet(Numbered):
    """Readings taken together, never changed: a correction is a new set."""

    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"), index=True)
    role: Mapped[str] = mapped_column(String(40))
    taken_on: Mapped[date]
    note: Mapped[str] = mapped_column(default="")
    blade_set_id: Mapped[int | None] = mapped_column(ForeignKey("blade_set.id"))
    glass_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    wedge_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    bore_gauge_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("reading_set.id"), unique=True)
    replaces_why: Mapped[str] = mapped_column(default="")
    # thicknesses in mm of the blades that were felt on neither rail
    unread_mm: Mapped[list[float]] = mapped_column(JSON, default=list, server_default="[]")
    read_once: Mapped[bool] = mapped_column(default=False, server_default=false())
    created_at: Mapped[datetime]
    piece: Mapped[Piece] = relationship(lazy="raise")
    job: Mapped[Job | None] = relationship(lazy="raise", back_populates="reading_sets")
    readings: Mapped[list["Reading"]] = relationship(order_by="Reading.id", lazy="raise")


class Reading(Numbered):
    """One reading: the text as typed, its scale, its value in mm (a volume's in ml)."""

    set_id: Mapped[int] = mapped_column(ForeignKey("reading_set.id"), index=True)
    quantity: Mapped[str] = mapped_column(String(40))
    rail: Mapped[str] = mapped_column(String(10), default="")
    gauge_id: Mapped[int | None] = mapped_column(ForeignKey("gauge.id"))
    gap_mm: Mapped[float | None]
    depth_mm: Mapped[float | None]
    depth_typed: Mapped[str] = mapped_column(default="", server_default="")
    name: Mapped[str] = mapped_column(default="")
    typed: Mapped[str]
    scale: Mapped[str] = mapped_column(String(40))
    value_mm: Mapped[float]
    confirmed: Mapped[bool] = mapped_column(default=False, server_default=false())


class BenchPass(Numbered):
    """One spell at the bench."""

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    done_on: Mapped[date]
    kind: Mapped[str] = mapped_column(String(40))
    abrasive: Mapped[str] = mapped_column(default="")
    grit: Mapped[str] = mapped_column(default="")
    strokes: Mapped[int | None]
    minutes: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]


class Work(Numbered):
    """Work on a piece that is no cut: a cork, a crack, a patch, a polish.

    `kind` is a key of the works known, or "other" with the shop's own `label`. `amount_mm` is what
    a shortened tip lost.
    """

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    done_on: Mapped[date]
    kind: Mapped[str] = mapped_column(String(40))
    label: Mapped[str] = mapped_column(default="")
    material: Mapped[str] = mapped_column(default="")
    minutes: Mapped[int | None]
    typed: Mapped[str] = mapped_column(default="")
    amount_mm: Mapped[float | None]
    price_minor: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]


class Slip(Numbered):
    """A paper as issued: the values it printed and its words, for ever."""

    number: Mapped[int] = mapped_column(unique=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    issued_on: Mapped[date]
    issued_at: Mapped[datetime]
    paper: Mapped[str] = mapped_column(String(20))
    sheet: Mapped[str] = mapped_column(String(40), server_default="paper-1.css")
    # the paper itself, left out of lists: they would carry it along for nothing
    printed: Mapped[dict[str, Any]] = mapped_column(
        deferred=True, deferred_group="paper", deferred_raiseload=True
    )
    html: Mapped[str] = mapped_column(
        deferred=True, deferred_group="paper", deferred_raiseload=True
    )
    piece: Mapped[Piece] = relationship(lazy="raise")
    job: Mapped[Job | None] = relationship(lazy="raise", back_populates="slips")
    files: Mapped[list["SlipFile"]] = relationship(order_by="SlipFile.name", lazy="raise")


class SlipFile(Base):
    """A file an issued paper came with: its pages, its PDF; of older ones its pictures."""

    slip_id: Mapped[int] = mapped_column(ForeignKey("slip.id"), primary_key=True)
    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    content: Mapped[bytes]


class Service(Numbered):
    """A line of the price list: what for, what it costs, for which pieces (empty: for all)."""

    label: Mapped[str]
    family: Mapped[str] = mapped_column(String(40), default="")
    material: Mapped[str] = mapped_column(String(40), default="")
    price_minor: Mapped[int]
    retired: Mapped[bool] = mapped_column(default=False)
    version: Mapped[int] = mapped_column(default=1)


class Charge(Numbered):
    """A line of a job's bill."""

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    label: Mapped[str]
    amount_minor: Mapped[int]
    charged_on: Mapped[date]
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]


class Payment(Numbered):
    """A deposit, a payment, or money paid back."""

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    paid_on: Mapped[date]
    kind: Mapped[str] = mapped_column(String(20))
    way: Mapped[str] = mapped_column(default="")
    amount_minor: Mapped[int]
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]


class Memo(Numbered):
    """Something written down beside a piece or its job: a play-test, a parcel, a trial, a sale.

    `details` holds what was typed, by the fields of its kind (core/jobs/memos.py). `due` is the day
    something is awaited, `done_on` the day it came.
    """

    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"), index=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20), index=True)
    on: Mapped[date] = mapped_column("on_date")
    due: Mapped[date | None]
    done_on: Mapped[date | None]
    details: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]
    piece: Mapped[Piece] = relationship(lazy="raise")
    job: Mapped[Job | None] = relationship(lazy="raise")
    customer: Mapped[Customer | None] = relationship(lazy="raise")


class Stock(Numbered):
    """What the shop keeps to work with: blanks, papers, reeds; how many, and when it runs low."""

    name: Mapped[str]
    count: Mapped[int]
    warn_at: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")
    version: Mapped[int] = mapped_column(default=1)


class MessageText(Base):
    """The shop's own wording of one kind of message."""

    kind: Mapped[str] = mapped_column(String(40), primary_key=True)
    subject: Mapped[str]
    body: Mapped[str]


class Photo(Numbered):
    """A photograph's words; its dots are in the book's folder, under its generated name."""

    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"), index=True)
    moment: Mapped[str] = mapped_column(String(20))
    view: Mapped[str] = mapped_column(String(20))
    caption: Mapped[str] = mapped_column(default="")
    on_card: Mapped[bool] = mapped_column(default=False)
    name: Mapped[str] = mapped_column(String(60), unique=True)
    width_px: Mapped[int]
    height_px: Mapped[int]
    created_at: Mapped[datetime]
    struck_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)


class Revision(Numbered):
    """What a record said before it was changed, and when it was changed."""

    noun: Mapped[str] = mapped_column(String(40))
    record_id: Mapped[int]
    at: Mapped[datetime]
    before: Mapped[dict[str, Any]]
    __table_args__ = (UniqueConstraint("noun", "record_id", "id"),)


class Forgetting(Numbered):
    """A customer who asked to be forgotten: when, and how much was removed, in counts only.

    `files_left` names photographs' files still to be removed; it is finished once those are gone
    and the database's file holds none of the person's words.
    """

    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), unique=True)
    at: Mapped[datetime]
    removed: Mapped[dict[str, Any]]
    files_left: Mapped[list[str]] = mapped_column(JSON)
    finished_at: Mapped[datetime | None]


class Draft(Base):
    """What is being typed on a page, by the page's address, until it is kept or discarded."""

    place: Mapped[str] = mapped_column(String(60), primary_key=True)
    fields: Mapped[dict[str, Any]]
    at: Mapped[datetime]


class Submission(Base):
    """A form already taken, by the token it carried: a second press changes nothing.

    `digest` is a hash of what it said (empty for forms taken by earlier programs).
    """

    token: Mapped[str] = mapped_column(String(64), primary_key=True)
    location: Mapped[str]
    at: Mapped[datetime]
    digest: Mapped[str] = mapped_column(String(64), server_default="")
