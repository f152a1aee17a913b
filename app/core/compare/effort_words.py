"""How a piece will feel, in words: the ratio of closing efforts as one net sentence.

It is a model's answer and says so; a word about reeds comes with its doubt.
"""

from app.core.compare.effort import EffortRatio

HARDER, EASIER, ALIKE, SUSPECT = "harder", "easier", "alike", "suspect"
# what two reeds of one box may well differ by; from memory, no source
ONE_BOX = 0.1
LEFT_OUT = (
    "This is a model: the same reed, closed by the breath’s pressure alone. It leaves out the lip, "
    "and what each piece of cane does of its own."
)


def judge_effort(found: EffortRatio) -> str:
    """Return the verdict: `HARDER`, `EASIER`, `ALIKE` within the limits, or `SUSPECT`."""
    if found.suspect:
        return SUSPECT
    if found.low > 1.0:
        return HARDER
    return EASIER if found.high < 1.0 else ALIKE


def say_effort(found: EffortRatio) -> str:
    """Return the whole answer, whatever it is."""
    verdict = judge_effort(found)
    if verdict == SUSPECT:
        return (
            "Before it can be told how hard the same reed closes, take the reading again that "
            "fits no curve."
        )
    if verdict == ALIKE:
        return (
            "With the same reed it closes as it did, as far as the readings can tell "
            f"({say_percent(found.low)} to {say_percent(found.high)})."
        )
    return f"{_say_change(found, verdict)}{_say_reed(found, verdict)}"


def say_effort_on_card(found: EffortRatio) -> str | None:
    """Return the card's one sentence about reeds; None where the readings can't tell a change."""
    return say_effort(found) if judge_effort(found) in {HARDER, EASIER} else None


def say_percent(ratio: float) -> str:
    """Return a ratio as a change in whole per cent: "4 % harder", "5 % easier", "no harder"."""
    percent = round(100.0 * abs(ratio - 1.0))
    return f"{percent} % {HARDER if ratio > 1.0 else EASIER}" if percent else "no harder"


def _say_change(found: EffortRatio, verdict: str) -> str:
    percent, *limits = (
        round(100.0 * abs(ratio - 1.0)) for ratio in (found.ratio, found.low, found.high)
    )
    return (
        f"With the same reed it closes about {percent} % {verdict} ({min(limits)} to {max(limits)})"
    )


def _say_reed(found: EffortRatio, verdict: str) -> str:
    if max(abs(found.low - 1.0), abs(found.high - 1.0)) <= ONE_BOX:
        return ": less than two reeds of one box may differ. Start from the reed you used before."
    reed = "softer" if verdict == HARDER else "stronger"
    return f": it may suit a {reed} reed. Start from the one you used before; players differ."
