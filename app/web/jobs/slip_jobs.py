"""What the papers of a job’s course hold: intake slip, tags, bench sheet, bill, packing note."""

from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy.orm import Session

from app.core.compare.card_front import say_care
from app.core.facing.measurements import write_line
from app.core.jobs.charges import PAYMENT_SIGNS, share_of_tax
from app.core.jobs.jobs import RETURN_WAYS
from app.core.jobs.memos import CUSTOMS, jobs_in
from app.core.jobs.slips import (
    CARD_KINDS,
    BenchPart,
    BenchPlan,
    BillPart,
    IntakePart,
    Label,
    LabelsPart,
    PackingPart,
    Rows,
    SlipPart,
    TagPart,
)
from app.core.jobs.stages import EXPECTED, STAGES
from app.core.plan.bench_table import list_rows
from app.core.values.forms import format_date, format_money, short_date, shorten
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS, name_piece
from app.core.values.units import format_number, format_on_scale
from app.core.values.works import label_work
from app.render.cut import CutRail, CutSize
from app.store.records.charges import account_of, list_charges, list_payments, sum_of
from app.store.records.facings import get_facing
from app.store.records.jobs import list_order
from app.store.records.memos import last_memo, trial_of
from app.store.records.shop import gauges_in_use
from app.store.tables import BenchPass, Job, Shop, Work
from app.web.jobs.slip_subjects import (
    Printing,
    Subject,
    before_after,
    job_of,
    list_ticked,
    say_condition,
)
from app.web.plan.planning import find_showing, gauges_for, plan_job
from app.web.plan.plans import draw_cut_of, tell_plan

TAG_LETTERS = 90
TAG_NAME_LETTERS = 60


def intake_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the intake slip holds."""
    del printing
    job = job_of(subject)
    order = list_order(session, job)
    account = account_of(session, order)
    money = [format_money(account.total_minor, shop.currency)]
    if account.paid_minor:
        money.append(f"paid {format_money(account.paid_minor, shop.currency)}")
    elif deposit := sum_of(order, "deposit_minor"):
        money.append(f"deposit {format_money(deposit, shop.currency)}")
    return IntakePart(
        pieces=_intake_rows(order),
        condition=say_condition(job),
        came_with=_ticked_of(order, "came_with"),
        complaints=_ticked_of(order, "complaint"),
        risks=_ticked_of(order, "risk"),
        warranty=_warranty(session, order),
        declared_value=format_money(sum_of(order, "declared_value_minor"), shop.currency),
        goes_home=RETURN_WAYS[job.return_by],
        money=tuple(words for words in money if words),
        terms=shop.terms,
    )


def _ticked_of(order: Sequence[Job], kind: str) -> str:
    """List an order’s ticked lines of one kind; what holds for some pieces names their jobs."""
    having: dict[str, list[str]] = {}
    for job in order:
        for tick in job.ticks:
            if tick.kind == kind:
                having.setdefault(tick.label, []).append(str(job.number))
    return ", ".join(
        label if len(jobs) == len(order) else f"{label} (job {' and '.join(jobs)})"
        for label, jobs in having.items()
    )


def _name(job: Job) -> str:
    piece = job.piece
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    marks = piece.telling_marks if piece.telling_marks != name else ""
    return ", ".join(filter(None, (name, marks)))


def _intake_rows(order: Sequence[Job]) -> Rows:
    """List an order's pieces: job, piece, what is asked, condition; empty for a single piece."""
    if len(order) == 1:
        return ()
    return tuple((str(job.number), _name(job), job.request, say_condition(job)) for job in order)


def _warranty(session: Session, order: Sequence[Job]) -> str:
    """Say until when the work is warranted, and what that covers, of each piece that is."""
    warranted: dict[str, list[str]] = {}
    for job in order:
        if memo := last_memo(session, job.piece, job, "warranty"):
            words = f"until {format_date(memo.due)}\n{memo.details.get('covers', '')}".strip()
            warranted.setdefault(words, []).append(str(job.number))
    return "\n".join(
        words if len(jobs) == len(order) else f"job {' and '.join(jobs)}: {words}"
        for words, jobs in warranted.items()
    )


def tag_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What a tray tag holds; the whole of its texts stands in the book."""
    del session, shop
    job = job_of(subject)
    return TagPart(
        address=printing.address,
        condition=shorten(say_condition(job), TAG_LETTERS),
        came_with=shorten(list_ticked(job, "came_with"), TAG_LETTERS),
        goes_home=RETURN_WAYS[job.return_by],
    )


def label_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What one small label holds."""
    del session, shop
    return LabelsPart((make_label(subject, printing.address),), None)


def make_label(subject: Subject, address: str) -> Label:
    """The label of a job, or of a piece outside any."""
    piece, job = subject.piece, subject.job
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    wanted = job.wanted_by if job else None
    return Label(
        head=str(job.number) if job else piece.marking or str(piece.id),
        customer=shorten(job.customer.name, 44) if job else "",
        piece=shorten(name, 48),
        wanted=short_date(wanted) if wanted else "",
        address=address,
        code=f"code-{job.number if job else piece.id}.svg",
    )


def bench_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the bench sheet holds, the plan included where there is one."""
    del shop, printing
    job = job_of(subject)
    received, _ = before_after(job)
    readings = received.readings if received else ()
    read = {reading.gauge_id for reading in readings if reading.gauge_id}
    gauges = gauges_in_use(session, instrument_kind=job.piece.instrument_kind, and_blades=read)
    aim = get_facing(session, job.facing_id)
    as_typed, bore_mm = (received.recorded, received.bore_mm) if received else (None, None)
    rows = list_rows(find_showing(session, gauges), as_typed, None, aim.target if aim else None)
    bore = "" if bore_mm is None else format_on_scale(bore_mm, gauges.bore)
    return BenchPart(
        condition=say_condition(job),
        line=f"As received: {write_line(received.recorded, gauges)}" if received else "",
        rows=(*((row.label, row.received, row.target) for row in rows), ("Exit bore", bore, "")),
        counted=gauges.counted,
        target_name=aim.name if aim else "",
        plan=_bench_plan(session, job),
        passes=tell_passes(job)[-12:],
        caution=f"{MATERIAL_CAUTIONS[job.piece.material]} {CAUTION_DEFERS}",
    )


def _bench_plan(session: Session, job: Job) -> BenchPlan | None:
    planned = plan_job(session, job)
    plan = planned.plan
    if plan is None:
        return None
    facts = tell_plan(session, job, planned)
    return BenchPlan(
        target=facts["target_line"],
        summary=plan.summary,
        cautions=tuple(plan.cautions),
        steps=tuple((step.heading, step.words, step.line) for step in facts["steps"]),
        checks=tuple(
            (row.blade, row.now, row.after_table, row.after_rails, row.target)
            for row in facts["check_rows"]
        ),
        pictures=tuple((f"cut-{rail}.svg", _CUT_WORDS[rail]) for rail in facts["pictures"]),
    )


_CUT_WORDS = {
    "both": "What comes off both rails: the gap now and the target over it, and the cut below.",
    "left": "What comes off the left rail: the gap now and the target over it, the cut below.",
    "right": "What comes off the right rail: the gap now and the target over it, the cut below.",
}


def tell_passes(job: Job, *, struck: bool = False) -> Rows:
    """List a job's passes and works by their day: day, what, with what, strokes, note.

    Those struck out too if asked, and said so.
    """
    noted: list[BenchPass | Work] = [*job.passes, *job.works]
    shown = [done for done in noted if done.struck_at is None or struck]
    return tuple(_row_of(done) for done in sorted(shown, key=lambda done: done.done_on))


def _row_of(done: BenchPass | Work) -> tuple[str, ...]:
    if isinstance(done, Work):
        what, used, strokes = label_work(done.kind, done.label, done.amount_mm), done.material, ""
    else:
        used = ", ".join(part for part in (done.abrasive, done.grit) if part)
        what, strokes = CUT_KINDS[done.kind].label, str(done.strokes or "")
    ending = " (struck out)" if done.struck_at else ""
    return short_date(done.done_on), what + ending, used, strokes, done.note


def estimate_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the estimate holds: what the work will cost."""
    del printing
    job = job_of(subject)
    order = list_order(session, job)
    total, deposit = account_of(session, order).total_minor, sum_of(order, "deposit_minor")
    sums, rest = _tax(total, shop), total
    if total is not None and deposit:
        sums = [("Total", format_money(total, shop.currency)), *sums]
        sums.append(("Deposit asked", format_money(deposit, shop.currency)))
        rest = total - deposit
    return BillPart(
        lines=_order_lines(session, order, shop),
        payments=(),
        sums=tuple(sums),
        balance_label="Total" if rest == total else "Balance, after the deposit",
        balance=format_money(rest, shop.currency) or "no price yet",
        due="",
        address=tuple(job.customer.address.splitlines()),
        pay=shop.pay_words,
    )


def bill_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the bill holds."""
    job = job_of(subject)
    order = list_order(session, job)
    account = account_of(session, order)
    all_paid = (paid for billed in order for paid in list_payments(session, billed.id))
    standing = (paid for paid in all_paid if paid.struck_at is None)
    payments = sorted(standing, key=lambda paid: paid.paid_on)
    sums = [("Total", format_money(account.total_minor, shop.currency) or "no price yet")]
    sums += _tax(account.total_minor, shop)
    deposit = sum(paid.amount_minor for paid in payments if paid.kind == "deposit")
    for label, amount in (("Deposit", deposit), ("Paid", account.paid_minor - deposit)):
        if amount:
            sums.append((label, format_money(amount, shop.currency)))
    balance = account.balance_minor
    owed = balance is not None and balance > 0
    due = printing.today + timedelta(days=shop.pay_days) if owed and shop.pay_days else None
    return BillPart(
        lines=_order_lines(session, order, shop),
        payments=tuple(
            (
                ", ".join(
                    part
                    for part in (format_date(paid.paid_on), PAYMENT_SIGNS[paid.kind][0], paid.way)
                    if part
                ),
                format_money(paid.amount_minor, shop.currency),
            )
            for paid in payments
        ),
        sums=tuple(sums),
        balance_label=f"Balance: {account.say_balance()}",
        balance=format_money(abs(balance), shop.currency) if balance else "",
        due=format_date(due),
        address=tuple(job.customer.address.splitlines()),
        pay=shop.pay_words if owed else "",
    )


def _order_lines(session: Session, order: Sequence[Job], shop: Shop) -> Rows:
    """List what each piece of an order costs; of several, each line names its job and piece."""
    if len(order) == 1:
        return _bill_lines(session, order[0], shop)
    rows = ((job, row) for job in order for row in _bill_lines(session, job, shop))
    return tuple((f"{job.number} · {_name(job)}: {what}", sum_) for job, (what, sum_) in rows)


def _bill_lines(session: Session, job: Job, shop: Shop) -> Rows:
    """List what was agreed, the works with what each costs by itself, and the charges."""
    lines: list[tuple[str, int | None]] = []
    if job.agreed_price_minor is not None and not job.price_in_lines:
        lines.append((job.agreed_work or "work as agreed", job.agreed_price_minor))
    for work in job.works:
        if work.struck_at is None:
            what = label_work(work.kind, work.label, work.amount_mm)
            lines.append((", ".join(filter(None, (what, work.material))), work.price_minor))
    charges = list_charges(session, job.id)
    lines += [(charge.label, charge.amount_minor) for charge in charges if charge.struck_at is None]
    lines = lines or [(job.agreed_work or "nothing agreed yet", None)]
    return tuple((what, format_money(amount, shop.currency) or "–") for what, amount in lines)


def _tax(total_minor: int | None, shop: Shop) -> list[tuple[str, str]]:
    """Say how much of a total is tax; amounts are written with the tax in them."""
    if not (shop.tax_name and shop.tax_percent and total_minor):
        return []
    share = share_of_tax(total_minor, shop.tax_percent)
    label = f"of which {shop.tax_name}, {format_number(shop.tax_percent, 2)} %"
    return [(label, format_money(share, shop.currency))]


def _is_here(job: Job) -> bool:
    return job.stage != EXPECTED and STAGES[job.stage].open


def _packed(job: Job, *, of_several: bool) -> list[tuple[str, str]]:
    """List what goes home with a piece."""
    piece = job.piece
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    marks = piece.telling_marks if piece.telling_marks != name else ""
    number = f"job {job.number}" if of_several else ""
    came_with = (tick.label for tick in job.ticks if tick.kind == "came_with")
    cards = [slip.number for slip in job.slips if slip.kind in CARD_KINDS]
    return [
        (name, ", ".join(filter(None, (number, marks)))),
        *((label, number) for label in came_with),
        *(("return card", f"slip {card}") for card in cards[-1:]),
    ]


def packing_part(session: Session, subject: Subject, shop: Shop, printing: Printing) -> SlipPart:
    """What the packing note holds."""
    del printing
    job, piece = subject.job, subject.piece
    parcel = last_memo(session, piece, job, "parcel", way="out")
    trial = None if job else trial_of(session, piece)
    to = job.customer if job else (trial.customer if trial else None) or piece.owner
    details = parcel.details if parcel else {}
    name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    marks = piece.telling_marks if piece.telling_marks != name else ""
    contents, materials = [(name, marks)], [piece.material]
    order = list_order(session, job) if job else []
    number, carrier, declared = (details.get(key) for key in ("number", "carrier", "declared"))
    if job:
        several = len(order) > 1
        packed = jobs_in(details)
        inside = [
            sent
            for sent in order
            if (str(sent.number) in packed if packed else not several or _is_here(sent))
        ]
        contents = [line for sent in inside for line in _packed(sent, of_several=several)]
        materials = [sent.piece.material for sent in inside] or materials
        number, carrier = number or job.tracking, carrier or RETURN_WAYS[job.return_by]
        value = sum_of(order, "declared_value_minor")
        declared = declared or format_money(value, shop.currency)
    notes = [("On trial", f"due back {format_date(trial.due)}")] if trial else []
    if job and (warranty := _warranty(session, order)):
        notes.append(("Warranty", warranty))
    carrier = carrier or "–"
    care = (line for material in materials for line in say_care(material, shop.care_text))
    return PackingPart(
        to=to.name,
        address=tuple(to.address.splitlines()),
        sender=tuple(filter(None, (*shop.address.splitlines(), shop.phone, shop.email))),
        contents=tuple(contents),
        carrier=f"{carrier}, tracking {number}" if number else carrier,
        declared_value=declared or "",
        customs=tuple((words, details[key]) for key, words in CUSTOMS.items() if details.get(key)),
        notes=tuple(notes),
        care=tuple(dict.fromkeys(care)),
    )


def cut_drawings(session: Session, job: Job, names: Rows) -> dict[str, str]:
    """Draw the plan's pictures that the bench sheet names."""
    planned = plan_job(session, job)
    gauges = gauges_for(session, job.piece.instrument_kind)
    size: CutSize = "paper" if len(names) == 1 else "pair"
    rails: dict[str, CutRail] = {f"cut-{rail}.svg": rail for rail in ("both", "left", "right")}
    return {name: draw_cut_of(planned, rails[name], gauges, size) for name, _ in names}
