"""What the papers of a job’s course hold: intake slip, tags, bench sheet, bill, packing note."""

from collections.abc import Mapping

from sqlalchemy.orm import Session

from app.core.facing.measurements import GaugesInUse, write_line
from app.core.jobs.charges import PAYMENT_SIGNS
from app.core.jobs.jobs import RETURN_WAYS
from app.core.jobs.slips import (
    CARD_KINDS,
    BenchPart,
    BenchRow,
    BillPart,
    IntakePart,
    PackingPart,
    SlipPart,
    TagPart,
)
from app.core.plan.targets import list_target_rows
from app.core.values.forms import format_date, format_money, shorten
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS, name_piece
from app.core.values.units import format_blade, format_on_scale
from app.store.records.charges import account_of, list_charges, list_payments
from app.store.records.facings import KeptFacing, get_facing
from app.store.records.measurements import (
    Measurement,
)
from app.store.records.shop import gauges_in_use
from app.store.tables import Shop
from app.web.jobs.slip_subjects import Subject, before_after, job_of, list_ticked, say_condition


def intake_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the intake slip holds."""
    del code
    job = job_of(subject)
    account = account_of(session, job)
    money = [format_money(account.total_minor, shop.currency)]
    if account.paid_minor:
        money.append(f"paid {format_money(account.paid_minor, shop.currency)}")
    elif job.deposit_minor:
        money.append(f"deposit {format_money(job.deposit_minor, shop.currency)}")
    return IntakePart(
        condition=say_condition(job),
        came_with=list_ticked(job, "came_with"),
        declared_value=format_money(job.declared_value_minor, shop.currency),
        goes_home=RETURN_WAYS[job.return_by],
        money=tuple(one for one in money if one),
        terms=shop.terms,
    )


def tag_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what a tray tag or label holds."""
    del session, shop
    job = job_of(subject)
    return TagPart(
        address=code,
        condition=say_condition(job),
        came_with=list_ticked(job, "came_with"),
        goes_home=RETURN_WAYS[job.return_by],
        wanted_short=f"{job.wanted_by.day} {job.wanted_by:%b %Y}" if job.wanted_by else "",
    )


def bench_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the bench sheet holds."""
    del shop, code
    job = job_of(subject)
    received, _ = before_after(job)
    read = {one.gauge_id for one in received.readings if one.gauge_id} if received else set()
    gauges = gauges_in_use(session, instrument_kind=job.piece.instrument_kind, and_blades=read)
    aim = get_facing(session, job.facing_id)
    return BenchPart(
        condition=say_condition(job),
        line=f"As received: {write_line(received.recorded, gauges.glass, gauges.tip)}"
        if received
        else "",
        rows=_bench_rows(received, gauges, _targets(aim, gauges) if aim else {}),
        scale=gauges.glass.label,
        target_name=aim.name if aim else "",
        passes=tuple(
            (
                one.done_on.isoformat(),
                CUT_KINDS[one.kind].label,
                ", ".join(part for part in (one.abrasive, one.grit) if part),
                str(one.strokes or ""),
                shorten(one.note, 60),
            )
            for one in job.passes[-12:]
            if one.struck_at is None
        ),
        caution=f"{MATERIAL_CAUTIONS[job.piece.material]} {CAUTION_DEFERS}",
    )


def _targets(aim: KeptFacing, gauges: GaugesInUse) -> dict[str, str]:
    """Say where each blade should stop, by its label, and the tip."""
    rows = list_target_rows(aim.target, aim.tolerance, gauges)
    said = {
        row.blade: row.left if row.left == row.right else f"{row.left}/{row.right}" for row in rows
    }
    tip = aim.target.tip_opening_mm
    return said | ({"Tip": format_on_scale(tip, gauges.tip)} if tip is not None else {})


def _bench_rows(
    received: Measurement | None, gauges: GaugesInUse, targets: Mapping[str, str]
) -> tuple[BenchRow, ...]:
    facing = received.recorded if received else None

    def read(gap_mm: float, rail: str) -> str:
        stops = getattr(facing, rail) if facing else ()
        found = (stop.position_mm for stop in stops if stop.gap_mm == gap_mm)
        position = next(found, None)
        return "" if position is None else format_on_scale(position, gauges.glass)

    tip = facing.tip_opening_mm if facing else None
    bore = received.bore_mm if received else None
    return (
        *(
            BenchRow(
                format_blade(blade.gap_mm),
                read(blade.gap_mm, "left"),
                read(blade.gap_mm, "right"),
                targets.get(blade.label, ""),
            )
            for blade in gauges.blades
        ),
        BenchRow(
            "Tip",
            "" if tip is None else format_on_scale(tip, gauges.tip),
            "",
            targets.get("Tip", ""),
        ),
        BenchRow("Exit bore", "" if bore is None else format_on_scale(bore, gauges.bore), "", ""),
    )


def bill_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the bill holds."""
    del code
    job = job_of(subject)
    account = account_of(session, job)
    charges = [one for one in list_charges(session, job.id) if one.struck_at is None]
    payments = [one for one in list_payments(session, job.id) if one.struck_at is None]
    lines = [(one.label, format_money(one.amount_minor, shop.currency)) for one in charges]
    if not charges:
        agreed = format_money(job.agreed_price_minor, shop.currency) or "–"
        lines = [(shorten(job.agreed_work, 200) or "work as agreed", agreed)]
    balance = account.balance_minor
    return BillPart(
        lines=tuple(lines),
        payments=tuple(
            (
                ", ".join(
                    part
                    for part in (format_date(one.paid_on), PAYMENT_SIGNS[one.kind][0], one.way)
                    if part
                ),
                format_money(one.amount_minor, shop.currency),
            )
            for one in payments
        ),
        total=format_money(account.total_minor, shop.currency) or "–",
        paid=format_money(account.paid_minor, shop.currency),
        balance_label=account.say_balance(),
        balance=format_money(abs(balance), shop.currency) if balance else "",
        address=tuple(job.customer.address.splitlines()),
    )


def packing_part(session: Session, subject: Subject, shop: Shop, code: str) -> SlipPart:
    """Give what the packing note holds."""
    del session, code
    job = job_of(subject)
    piece = job.piece
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    marks = piece.telling_marks if piece.telling_marks != name else ""
    contents = [(shorten(name, 80), shorten(marks, 80))]
    contents += [(tick.label, "") for tick in job.ticks if tick.kind == "came_with"]
    cards = [slip for slip in job.slips if slip.kind in CARD_KINDS]
    contents.append(("return card", f"slip {cards[-1].number}" if cards else ""))
    carrier = RETURN_WAYS[job.return_by]
    return PackingPart(
        address=tuple(job.customer.address.splitlines()),
        sender=tuple(one for one in (*shop.address.splitlines(), shop.phone, shop.email) if one),
        contents=tuple(contents),
        carrier=f"{carrier}, tracking {job.tracking}" if job.tracking else carrier,
        declared_value=format_money(job.declared_value_minor, shop.currency),
        care=shop.care_text,
    )
