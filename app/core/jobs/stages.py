"""The stages of a job: one table of what moves a job there and what comes next.

What happens to a job is named by a key: the role of a reading set that was kept, or ARRIVED,
AGREED, PASS, CARD. Whatever happens, only this table says whether it moves the job on.
"""

from collections.abc import Collection
from dataclasses import dataclass

EXPECTED, DROPPED_OFF = "expected", "dropped_off"
ARRIVED = "arrived"  # in a parcel
AGREED = "agreed"
PASS = "pass"  # noqa: S105 - a spell at the bench
CARD = "card"


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do next: words and a button, to a page under the job or to a stage.

    It is offered until `until` happened.
    """

    words: str
    label: str
    page: str = ""
    stage: str = ""
    until: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage: its label, how far along it is, what brings a job here from where, and what next."""

    key: str
    label: str
    step: int
    reached_by: str = ""
    reached_from: tuple[str, ...] = ()
    next_steps: tuple[NextStep, ...] = ()
    open: bool = True

    @property
    def next_words(self) -> str:
        """What comes next, of a list of jobs."""
        return self.next_steps[0].words if self.next_steps else ""


_READ_FIRST = NextStep(
    "Measure it as received.", "Readings as received", page="readings?role=as_received"
)
_AGREE = NextStep(
    "Agree with the player what should change.",
    "Note what was agreed",
    page="edit#agreed_work",
    until=AGREED,
)
_IS_AGREED = NextStep("What should change is noted.", "It is agreed", stage="agreed")
_TO_BENCH = NextStep("Take it to the bench.", "Take it to the bench", stage="on_the_bench")
_WORK = NextStep(
    "Work, and measure after each few passes.",
    "Readings at the bench",
    page="readings?role=at_the_bench",
)
_READ_LAST = NextStep(
    "Let it be played; measure it as returned.",
    "Readings as returned",
    page="readings?role=as_returned",
    until="as_returned",
)
_PRINT = NextStep("Print the return card.", "Return card", page="papers/return_card")
_HAND_OVER = NextStep("Hand over the return card and the piece.", "It went home", stage="returned")
_CAME = NextStep("Note that it came in.", "It came in", stage="dropped_off")
_NEW = ("expected", "dropped_off")

STAGES: dict[str, Stage] = {
    stage.key: stage
    for stage in (
        # key, label, step; what brings a job here, from which stages; what comes next
        Stage("expected", "expected", 0, "", (), (_CAME,)),
        Stage("dropped_off", "dropped off", 1, ARRIVED, ("expected",), (_READ_FIRST,)),
        Stage("measured", "measured", 2, "as_received", _NEW, (_AGREE, _IS_AGREED)),
        Stage("agreed", "agreed", 3, AGREED, ("measured",), (_TO_BENCH,)),
        Stage("on_the_bench", "on the bench", 4, PASS, (*_NEW, "measured", "agreed"), (_WORK,)),
        Stage("play_test", "play-test", 5, "as_returned", ("on_the_bench",), (_READ_LAST, _PRINT)),
        Stage("ready", "ready", 6, CARD, ("play_test",), (_HAND_OVER,)),
        Stage("returned", "returned", 7, open=False),
        Stage("returned_unworked", "returned unworked", 7, open=False),
    )
}


# what a history says of a stage that nobody chose: why the job came there
BECAUSE = {
    ARRIVED: "its parcel came",
    "as_received": "readings as received were kept",
    AGREED: "what was agreed was noted",
    PASS: "work was noted",
    "as_returned": "readings as returned were kept",
    CARD: "the return card was issued",
}


OPEN_STAGES = tuple(key for key, stage in STAGES.items() if stage.open)


def course_of(stage: str) -> list[Stage]:
    """List the stages to show of a job that stands at one: what did not happen is left out."""
    ends = "returned_unworked" if stage == "returned_unworked" else "returned"
    return [
        row
        for row in STAGES.values()
        if (row.open and row.key != EXPECTED) or row.key in {stage, ends}
    ]


def stage_after(stage: str, happening: str) -> str | None:
    """Name the stage that a happening moves a job to from where it stands; None if it stays."""
    moved = (
        row.key
        for row in STAGES.values()
        if row.reached_by == happening and stage in row.reached_from
    )
    return next(moved, None)


def next_step(stage: str, happened: Collection[str]) -> NextStep | None:
    """Say what to do next at a stage; an open job without any reading is read first."""
    if stage != EXPECTED and STAGES[stage].open and not set(happened) - {AGREED, PASS, CARD}:
        return _READ_FIRST
    return next((step for step in STAGES[stage].next_steps if step.until not in happened), None)
