"""The one comparison in sentences: a piece before and after, and one that comes back."""

import numpy as np
import pytest

from app.core.compare.comparison import compare
from app.core.compare.comparison_words import (
    IT_HAS_MOVED,
    THEY_DIFFER,
    UNPLACED,
    Finding,
    say_joint,
    tell_comparison,
)
from app.core.compare.differences import take_facing
from app.core.values.readings import BladeStop, FacingReadings
from tests.core.compare.test_comparison import BLADES_MM, told

LEFT = told((5.5, 12, 23.5, 35.5), 1.08)
SAME = "It came back as it left: no change the gauges can tell."


def tell(before, after, leads=IT_HAS_MOVED):
    return tell_comparison(compare(take_facing(before), take_facing(after)), leads)


@pytest.mark.parametrize(
    ("now", "words"),
    [
        (told((5.5, 12, 23.5, 35.5), 1.08), SAME),
        (told((5.5, 12, 24, 35.5), 1.07), SAME),
        (told((5.5, 12, 23.5, 35.5), 1.05), SAME),
        (told((5.5, 12, 23.5, 35.5), 1.03), "It has moved: the tip is 0.05 ± 0.03 mm closer."),
        (told((5.5, 12, 23.5, 35.5), 1.14), "It has moved: the tip is 0.06 ± 0.03 mm more open."),
        (told((5.5, 12, 23, 34), 1.08), "It has moved: the facing is 0.75 ± 0.30 mm shorter."),
        (told((6, 12.5, 24, 36), 1.08),
         "It has moved: all stops together lie 0.25 ± 0.15 mm further from the tip, which no "
         "single one would show."),
        (told((3.5, 10, 21, 32.5), 1.00),
         "It has moved: the tip is 0.08 ± 0.03 mm closer, the facing is 1.50 ± 0.30 mm shorter, "
         "the 0.010 in blade stops 1.25 ± 0.42 mm nearer the tip and 2 more."),
    ],
)  # fmt: skip
def test_the_verdict_is_in_plain_words(now, words):
    found = tell(LEFT, now)
    assert found.words == words
    assert found.finding == (Finding.SAME if words == SAME else Finding.MOVED)


def test_one_rail_alone_is_named():
    right = told((5.5, 12, 23.5, 35.5), 1.08, right=(7, 13.5, 25, 37))
    assert tell(LEFT, right).words.startswith(
        "It has moved: the 0.0015 in blade stops 0.75 ± 0.42 mm further from the tip on the right "
        "rail, "
    )


def test_what_changed_as_a_whole_but_nowhere_by_itself_is_said_so():
    tilted = told((5, 12, 23.5, 36), 1.10)
    found = tell(LEFT, tilted)
    if found.finding == Finding.MOVED:
        assert UNPLACED in found.words


def test_two_pieces_differ():
    words = tell(LEFT, told((5.5, 12, 23.5, 35.5), 1.14), THEY_DIFFER).words
    assert words == "Beside the first, in the second: the tip is 0.06 ± 0.03 mm more open."


def test_what_would_not_show_is_said():
    """0.03 mm is twice √2 times 0.01 mm, the tip's standard uncertainty, rounded."""
    assert tell(LEFT, LEFT).basis == (
        "Read both times: the tip and 8 blade readings. By itself a change of the tip below "
        "0.03 mm or of a blade below 0.4 mm along the glass would not show."
    )


def test_what_was_not_read_both_times_gives_no_verdict():
    tip_only = FacingReadings((), (), 1.1)
    rails_only = FacingReadings((BladeStop(BLADES_MM[0], 3.5),), (), None)
    found = tell(tip_only, rails_only)
    assert (found.finding, found.basis) == (Finding.NOTHING, "")
    assert tell(tip_only, tip_only).basis.startswith("Read both times: the tip. By itself")


def test_a_reading_to_take_again_is_named_and_nothing_is_said_from_it():
    crooked = told((5.5, 12, 23.5, 35.5), 1.08, right=(5.5, 12, 27, 35.5))
    found = tell(LEFT, crooked)
    assert found.finding == Finding.DOUBT
    assert found.words == "The other readings show nothing that the gauges can tell apart."
    assert found.left_out == (
        "Nothing is said from the reading with the 0.010 in on the right rail: it fits the others "
        "worst and is to be taken again."
    )


def test_a_metrologist_is_told_what_stands_behind_it():
    joint = compare(take_facing(LEFT), take_facing(told((6, 12.5, 24, 36), 1.08))).joint
    assert say_joint(joint) == (
        "All of the facing together: χ² = 11.1 with 4 degrees of freedom, p 0.025."
    )


@pytest.mark.long
def test_of_pieces_that_did_not_move_at_most_one_in_twenty_is_said_to_have_moved():
    """Simulated readings with the uncertainties the verdict reckons with: 400 visits."""
    rng = np.random.default_rng(4)

    def read() -> FacingReadings:
        rails = [
            tuple(
                BladeStop(gap, number / 2 + rng.normal(0, 0.15))
                for gap, number in zip(BLADES_MM, (5.5, 12, 23.5, 35.5), strict=True)
            )
            for _ in range(2)
        ]
        return FacingReadings(rails[0], rails[1], 1.08 + rng.normal(0, 0.01))

    found = [tell(read(), read()).finding for _ in range(400)]
    assert found.count(Finding.MOVED) <= 0.05 * 400 + 2 * (400 * 0.05 * 0.95) ** 0.5
