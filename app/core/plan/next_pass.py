"""The next pass: which cuts to offer at the bench, what each still has to take, how many strokes.

The kinds of cut used last stand ready, each with the strokes the shop's own rate allows. Passes
made since the last readings are reckoned with: what they took is not known until it is read, so
the strokes left are those of the proposal less those already made, and where a different cut
came in between, the only safe next step is to read again.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from app.core.compare.table_profiles import FLATTEN_FIRST, TableProfile, say_table
from app.core.facing.suspects import say_again
from app.core.plan.bench import TIP_CUTS, BenchState, Depth, LoggedPass, left_for_cut
from app.core.plan.facings import FacingTolerance
from app.core.plan.plan_values import DONE, RAILS, TABLE, UNTOLD, RemovalPlan
from app.core.plan.plan_words import HEADINGS
from app.core.plan.removal import RemovalKind, RemovalRate, make_kind, propose_strokes
from app.core.plan.zones import ZoneCut, list_zone_cuts
from app.core.values.forms import plural
from app.core.values.passes import CUT_KINDS, RAIL_ZONES, rail_cut
from app.core.values.readings import FacingReadings
from app.core.values.units import format_blade

Log = Sequence[FacingReadings | LoggedPass]
Learn = Callable[[RemovalKind], RemovalRate]
MOST_OFFERS = 4
# cuts that change what blades and tip read; the others leave the readings as they are
FLAT_CUTS = {"flat", "table"}
TELLING_CUTS = {*FLAT_CUTS, *TIP_CUTS, *(key for key, kind in CUT_KINDS.items() if kind.rail)}
MOST_PARTS = 3


@dataclass(frozen=True, slots=True)
class PassOffer:
    """One kind of cut ready to be logged. `decision` is as in `StrokeProposal` or "".

    `strokes` is what to log with one touch: as proposed, else as last time; None if neither.
    """

    cut: str
    abrasive: str
    grit: str
    strokes: int | None
    decision: str
    words: str

    @property
    def label(self) -> str:
        """The kind in words: tilted toward the tip, wet abrasive paper 600."""
        paper = f"{self.abrasive} {self.grit}".strip()
        return ", ".join(part for part in (CUT_KINDS[self.cut].label, paper) if part)


@dataclass(frozen=True, slots=True)
class BenchAim:
    """What the offers are held against: the plan, the state, the tolerance and the rates."""

    plan: RemovalPlan
    state: BenchState
    tolerance: FacingTolerance
    material: str
    learn: Learn


def passes_since(log: Log) -> tuple[LoggedPass, ...]:
    """The passes made since the last readings."""
    since: list[LoggedPass] = []
    for entry in log:
        if isinstance(entry, LoggedPass):
            since.append(entry)
        else:
            since.clear()
    return tuple(since)


def offer_passes(
    log: Log, used: Iterable[LoggedPass], aim: BenchAim | None
) -> tuple[PassOffer, ...]:
    """Offer the kinds of cut last used in this job, then the shop's that the plan calls for.

    `used` are the shop's passes, newest first. Without an aim nothing is proposed, and the
    strokes are those of the last time.
    """
    own = [entry for entry in reversed(log) if isinstance(entry, LoggedPass)]
    needed = needed_cuts(aim.plan) if aim else set()
    offers: dict[RemovalKind, PassOffer] = {}
    for done in (*own, *(done for done in used if done.cut in needed)):
        kind = make_kind(done.cut, done.abrasive, done.grit, "")
        if done.cut in CUT_KINDS and kind not in offers and len(offers) < MOST_OFFERS:
            offers[kind] = _offer(done, passes_since(log), aim)
    return tuple(offers.values())


def needed_cuts(plan: RemovalPlan) -> set[str]:
    """Name the cuts that the plan's first step calls for, on a rail all along it too."""
    come_to = plan.comes_to
    if come_to == DONE:
        return set()
    if come_to == TABLE:
        return set(FLAT_CUTS)
    cuts = {part.cut for part in list_zone_cuts(plan)} or {"tilted"}
    return cuts | {rail_cut(kind.rail) for cut in cuts if (kind := CUT_KINDS[cut]).rail}


def _parts(plan: RemovalPlan) -> Sequence[ZoneCut]:
    """List the parts of the rails that the plan's first step takes from."""
    return () if plan.comes_to in {DONE, TABLE} else list_zone_cuts(plan)


@dataclass(frozen=True, slots=True)
class StrokeStep:
    """Strokes of one kind of cut to begin with; None where the rate is not known yet."""

    cut: str
    paper: str
    strokes: int | None


def plan_strokes(aim: BenchAim, used: Iterable[LoggedPass]) -> tuple[StrokeStep, ...]:
    """List how to begin with the rails: strokes for 70 % of each part, by the learnt rates.

    `used` are passes, the job's own first, newest first: each kind is done with the paper it was
    done with last. For a third of a rail whose own rate is not known, a stroke may take three
    times what one along the whole rail does. No more than three parts, so that it is soon read
    again; parts for which not one stroke is safe are left out.
    """
    used, steps = list(used), []
    for part in _parts(aim.plan):
        kind = CUT_KINDS[part.cut]
        whole = rail_cut(kind.rail) if kind.rail else part.cut
        own = next((done for done in used if done.cut == part.cut), None)
        paper = own or next((done for done in used if done.cut in {whole, "tilted"}), None)
        if paper is None:
            steps.append(StrokeStep(part.cut, "", None))
            continue
        share, rate = 1, aim.learn(make_kind(part.cut, paper.abrasive, paper.grit, aim.material))
        if not rate.known and whole != part.cut:
            share = len(RAIL_ZONES)
            rate = aim.learn(make_kind(whole, paper.abrasive, paper.grit, aim.material))
        proposal = propose_strokes(rate, part.depth_mm, part.u_mm)
        strokes = proposal.strokes // share if rate.known else None
        if strokes != 0:
            steps.append(StrokeStep(part.cut, f"{paper.abrasive} {paper.grit}".strip(), strokes))
    return tuple(steps[:MOST_PARTS])


def say_strokes(steps: Sequence[StrokeStep]) -> str:
    """Say how to begin, such as tilted toward the tip, 12 strokes on wet paper 600; then …."""
    if not steps:
        return ""
    parts = [
        f"{CUT_KINDS[step.cut].label}, "
        + ("a few light strokes" if step.strokes is None else plural(step.strokes, "stroke"))
        + (f" on {step.paper}" if step.paper else "")
        for step in steps
    ]
    return f"Begin with: {'; then '.join(parts)}. Then read again."


def _offer(done: LoggedPass, since: Sequence[LoggedPass], aim: BenchAim | None) -> PassOffer:
    usual = int(done.strokes) if done.strokes else None
    part = next((part for part in _parts(aim.plan) if part.cut == done.cut), None) if aim else None
    left = left_for_cut(done.cut, aim.plan, aim.state) if aim else None
    if part is not None:
        left = Depth(part.depth_mm, part.u_mm)
    if aim is None or left is None:
        return PassOffer(done.cut, done.abrasive, done.grit, usual, "", "")
    tolerance = 0.0 if part is not None else _tolerance_of(done.cut, aim.tolerance)
    decision, strokes, words = _decide(done, left, tolerance, since, aim)
    return PassOffer(done.cut, done.abrasive, done.grit, strokes, decision, words)


def _decide(
    done: LoggedPass,
    left: Depth,
    tolerance_mm: float,
    since: Sequence[LoggedPass],
    aim: BenchAim,
) -> tuple[str, int | None, str]:
    """Decide on one kind of cut: a decision of `StrokeProposal`, strokes, and why in words."""
    usual = int(done.strokes) if done.strokes else None
    if done.cut in FLAT_CUTS and aim.plan.comes_to != TABLE:
        return "stop", usual, "The plan takes nothing off the table."
    kind = make_kind(done.cut, done.abrasive, done.grit, aim.material)
    proposal = propose_strokes(aim.learn(kind), left.mm, left.u_mm, tolerance_mm, usual)
    if proposal.decision == "stop" and not aim.state.stop:
        return "stop", usual, "The plan asks no more of this cut."
    if proposal.decision in {"stop", "past"}:
        return proposal.decision, usual, proposal.words
    telling = [entry for entry in since if entry.cut in TELLING_CUTS]
    if not telling:
        strokes = usual if proposal.decision == "unknown" else proposal.strokes or None
        return proposal.decision, strokes, proposal.words
    same = [
        entry
        for entry in telling
        if make_kind(entry.cut, entry.abrasive, entry.grit, aim.material) == kind and entry.strokes
    ]
    made = int(sum(entry.strokes or 0 for entry in same))
    if len(same) < len(telling):
        return "careful", usual, "Other passes were made since the readings: read again first."
    if proposal.decision == "unknown":
        words = f"{plural(made, 'stroke')} since the readings, and the rate is not known yet: "
        return "careful", usual, f"{words}read again first."
    rest = proposal.strokes - made
    if rest < 1:
        words = f"{plural(made, 'stroke')} since the readings: read again before the next pass."
        return "careful", usual, words
    words = f"{plural(made, 'stroke')} since the readings; at most {rest} more, then read again."
    return "go on", rest, words


def _tolerance_of(cut: str, tolerance: FacingTolerance) -> float:
    """How far a cut may miss; a flat cut is planned to the near edge already."""
    if cut in FLAT_CUTS:
        return 0.0
    at_tip = tolerance.tip_mm if cut in {"tilted", "tip_rail"} else None
    allowed = at_tip if at_tip is not None else tolerance.gap_mm
    return allowed or 0.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the job's page says first: `key` is "stop", "careful", "read" or "go on"."""

    key: str
    words: str


def judge_next(
    state: BenchState,
    plan: RemovalPlan | None,
    offers: Sequence[PassOffer],
    since: Sequence[LoggedPass],
    loose_table: TableProfile | None = None,
) -> Verdict:
    """Say what to do now: stop, read again, beware, or go on.

    `loose_table` is a table that isn't firm: nothing that was read on it is heeded.
    """
    telling = [done for done in since if done.cut in TELLING_CUTS]
    if loose_table is not None:
        return Verdict("careful", f"{say_table(loose_table)} {FLATTEN_FIRST}")
    if not telling and state.stop:
        return Verdict("stop", "Stop: within tolerance.")
    careful = next((offer for offer in offers if offer.decision == "careful"), None)
    if telling:
        made = f"{plural(len(telling), 'pass', 'passes')} since the last readings."
        if careful is not None or state.stop:
            return Verdict("careful", f"Next pass could overshoot. {made} Read again first.")
        return Verdict("read", made)
    if careful is not None and offers[0] is careful:
        return Verdict("careful", "Next pass could overshoot.")
    if state.again:
        return Verdict("read", f"Read {say_again(state.again)} again: nothing is said from it.")
    come_to = plan.comes_to if plan else ""
    if come_to == TABLE:
        return Verdict("go on", "The table first: the rails alone can't bring it there.")
    if come_to == DONE and not state.unread:
        return Verdict("read", f"Read {_name_worst(state)} again: all else asks for no cut.")
    if come_to == UNTOLD:
        return Verdict("go on", "The rails first; then read again, before the table.")
    if come_to == RAILS and any(blade.state == "cut" for blade in state.blades):
        return Verdict("go on", "Still to cut.")
    return Verdict("go on", state.words)


def head_plan(plan: RemovalPlan, state: BenchState) -> str:
    """Head a plan so that it says what the bench says."""
    if plan.comes_to == DONE and not state.stop:
        if state.again:
            return f"Read {say_again(state.again)} again"
        if state.unread:
            return "Nothing to cut as far as it was read"
        return f"Read {_name_worst(state)} again"
    return HEADINGS[plan.comes_to]


def _name_worst(state: BenchState) -> str:
    """Name the reading furthest out of tolerance, by what it can be off by."""
    out = [blade for blade in state.blades if blade.state != "within"]
    worst = max(out, key=lambda blade: abs(blade.height_mm) / (blade.u_mm or 1.0))
    if worst.gap_mm is None:
        return "the tip opening"
    return f"the {format_blade(worst.gap_mm)} blade on the {worst.rail} rail"
