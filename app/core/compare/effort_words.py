"""How a piece will feel, in words: the ratio of closing efforts as one net sentence.

It is a model's answer and says so; a word about reeds comes with its doubt.
"""

from app.core.compare.differences import ReadSet
from app.core.compare.effort import EffortRatio, compare_efforts
from app.core.facing.analysis import MalformedReading

HARDER, EASIER, ALIKE, SUSPECT = "harder", "easier", "alike", "suspect"
# what a verdict says in a table
VERDICTS = {HARDER: "closes harder", ALIKE: "no change that can be told", EASIER: "closes easier"}
LEAST_TOLD = 0.005  # what rounds to no per cent is no change
# what two reeds of one box may well differ by; from memory, no source
ONE_BOX = 0.1
LEFT_OUT = (
    "How hard a reed closes is worked out for the breath’s pressure alone. That leaves out the "
    "lip, and what each piece of cane does of its own."
)
# what is spoken of, and beside what
ONE_PIECE, TWO_PIECES = ("it", "as it did"), ("the second", "like the first")


def judge_effort(effort: EffortRatio) -> str:
    """Return the verdict: `HARDER`, `EASIER`, `ALIKE` within the limits, or `SUSPECT`."""
    if effort.suspect:
        return SUSPECT
    if effort.low > 1.0 + LEAST_TOLD:
        return HARDER
    return EASIER if effort.high < 1.0 - LEAST_TOLD else ALIKE


def say_effort(effort: EffortRatio, speak: tuple[str, str] = ONE_PIECE) -> str:
    """Return the whole answer, whatever it is."""
    verdict = judge_effort(effort)
    if verdict == SUSPECT:
        return (
            "How hard the same reed closes can’t be told before the reading that fits no curve "
            "is taken again."
        )
    change = say_change(effort, speak).removesuffix(".")
    in_one_box = max(abs(effort.low - 1.0), abs(effort.high - 1.0)) <= ONE_BOX
    if verdict == ALIKE and in_one_box:
        return (
            f"With the same reed {speak[0]} closes {speak[1]}, as far as the readings can tell: "
            f"{tell_ratio(effort)}."
        )
    if verdict == ALIKE:
        return f"{change}: the readings can’t tell which."
    if in_one_box:
        return f"{change}: less than two reeds of one box may differ."
    reed = "softer" if verdict == HARDER else "stronger"
    return f"{change}. Perhaps it wants a {reed} reed; try the usual one first, players differ."


def say_change(effort: EffortRatio, speak: tuple[str, str] = ONE_PIECE) -> str:
    """Return by how much it closes harder or easier, with the limits."""
    return f"With the same reed {speak[0]} closes {tell_ratio(effort)}."


def tell_ratio(effort: EffortRatio) -> str:
    """Return a ratio with its limits; the limits alone where it can't be told from none."""
    if judge_effort(effort) == ALIKE:
        return f"between {_say_limit(effort.low)} and {_say_limit(effort.high)}"
    verdict = HARDER if effort.ratio > 1.0 else EASIER
    percent, *limits = (_percent(ratio) for ratio in (effort.ratio, effort.low, effort.high))
    return f"about {percent}\u00a0% {verdict} ({min(limits)} to {max(limits)})"


def say_net_effort(
    before: ReadSet, after: ReadSet, kind: str = "other", *, short: bool = False
) -> str | None:
    """Return a card's one sentence about reeds; `short` leaves out what it asks of the reed.

    None where the readings can't tell a change of the effort, or don't allow to work it out. A
    paper says it only where the facing was seen to have changed at all.
    """
    try:
        effort = compare_efforts(before, after, kind)
    except MalformedReading:
        return None
    if judge_effort(effort) not in {HARDER, EASIER}:
        return None
    return say_change(effort) if short else say_effort(effort)


def _say_limit(ratio: float) -> str:
    percent = _percent(ratio)
    return f"{percent}\u00a0% {HARDER if ratio > 1.0 else EASIER}" if percent else "no harder"


def _percent(ratio: float) -> int:
    return round(100.0 * abs(ratio - 1.0))
