"""A piece that comes back: one plain verdict on its whole facing."""

import numpy as np
import pytest

from app.core.compare.returning import DOUBT, MOVED, NOTHING, SAME, tell_returning
from app.core.values.readings import BladeStop, FacingReadings
from tests.core.compare.test_comparison import BLADES_MM, told

LEFT = told((6.5, 13.5, 23.5, 35.5), 1.13)


@pytest.mark.parametrize(
    ("now", "verdict", "words"),
    [
        (told((6.5, 13.5, 23.5, 35.5), 1.13), SAME,
         "It came back as it left: no change the gauges can tell."),
        (told((6.5, 13.5, 24, 35.5), 1.12), SAME,
         "It came back as it left: no change the gauges can tell."),
        (told((6.5, 13.5, 23.5, 35.5), 1.08), MOVED,
         "It has moved: the tip is 0.05 ± 0.03 mm closer."),
        (told((6.5, 13.5, 23.5, 35.5), 1.19), MOVED,
         "It has moved: the tip is 0.06 ± 0.03 mm more open."),
        (told((6.5, 13.5, 23.5, 32.5), 1.13), MOVED,
         "It has moved: the facing is 1.50 ± 0.30 mm shorter."),
        (told((6.5, 13.5, 23.5, 35.5), 1.10), DOUBT,
         "It may have moved: the tip is 0.03 ± 0.03 mm closer. With this many readings that much "
         "happens by chance: read it again before you say so."),
        (told((6.5, 13.5, 23.5, 35.5), 1.08, right=(6.5, 15.5, 23.5, 35.5)), MOVED,
         "It has moved: the tip is 0.05 ± 0.03 mm closer and the 0.024 in blade stops 1.00 ± 0.43 "
         "mm further from the tip on the right rail."),
        (told((4.5, 11.5, 21.5, 33.5), 1.05), MOVED, None),
    ],
)  # fmt: skip
def test_the_verdict_is_in_plain_words(now, verdict, words):
    found = tell_returning(LEFT, now)
    assert found.verdict == verdict
    assert found.count == 9
    if words:
        assert found.words == words


def test_at_most_three_things_are_told_and_the_tip_comes_first():
    words = tell_returning(LEFT, told((4.5, 11.5, 21.5, 33.5), 1.05)).words
    assert words.startswith("It has moved: the tip is 0.08 ± 0.03 mm closer, the ")
    assert words.endswith("and 2 more.")


def test_what_would_not_show_is_said():
    """0.03 mm is twice √2 times 0.01 mm, the tip's standard uncertainty, rounded."""
    assert tell_returning(LEFT, LEFT).basis == (
        "Read both times: the tip and 8 blade readings. A change of the tip below 0.03 mm or of a "
        "blade below 0.4 mm along the glass would not show."
    )


def test_what_was_not_read_both_times_gives_no_verdict():
    tip_only = FacingReadings((), (), 1.1)
    rails_only = FacingReadings((BladeStop(BLADES_MM[0], 3.5),), (), None)
    assert tell_returning(tip_only, rails_only).verdict == NOTHING
    assert tell_returning(tip_only, tip_only).basis == (
        "Read both times: the tip. A change of the tip below 0.03 mm would not show."
    )


def test_of_pieces_that_did_not_move_at_most_one_in_twenty_is_said_to_have_moved():
    """Simulated readings with the uncertainties the verdict reckons with: 400 visits."""
    rng = np.random.default_rng(4)

    def read() -> FacingReadings:
        rails = [
            tuple(
                BladeStop(gap, number / 2 + rng.normal(0, 0.15))
                for gap, number in zip(BLADES_MM, (6.5, 13.5, 23.5, 35.5), strict=True)
            )
            for _ in range(2)
        ]
        return FacingReadings(rails[0], rails[1], 1.1 + rng.normal(0, 0.01))

    verdicts = [tell_returning(read(), read()).verdict for _ in range(400)]
    assert verdicts.count(MOVED) <= 0.05 * 400 + 2 * (400 * 0.05 * 0.95) ** 0.5
    # one by one, about a third of such visits would have been called a change
    assert verdicts.count(MOVED) + verdicts.count(DOUBT) > 0.2 * 400
