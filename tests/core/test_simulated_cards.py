"""A few hundred simulated cards of each kind; `python -m tests.simulated_cards` makes thousands."""

from math import sqrt

import pytest

from tests.simulated_cards import CASES, is_headline, part, simulate

CARDS, SEED = 250, 5
UNTOUCHED = [case for case in CASES if case.name.startswith("untouched")]
# three standard deviations of what 250 cards may give more where the truth is one in twenty
MOST = 0.05 + 3 * sqrt(0.05 * 0.95 / CARDS)


@pytest.mark.parametrize("case", UNTOUCHED, ids=lambda case: case.name)
def test_an_untouched_piece_seldom_gets_any_changed(case):
    found = simulate(case, CARDS, SEED)
    assert part(found, lambda one: one.moved) <= MOST
    assert part(found, is_headline) <= 0.02
    # by itself some figure or other passes its own limit on two cards of five
    assert part(found, lambda one: any(row.changed for row in one.changes)) > 0.3


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("all stops moved half a number (0.25 mm)", 0.55),
        ("all stops moved half a number, seven blades", 0.75),
        ("all stops moved one number (0.5 mm)", 0.97),
        ("left rail moved one number", 0.9),
        ("tip 0.05 mm more open", 0.55),
        ("bore 0.08 mm wider", 0.7),
    ],
)
def test_what_was_done_is_seen(name, least):
    case = next(one for one in CASES if one.name == name)
    assert part(simulate(case, CARDS // 2, SEED), lambda one: one.moved) >= least
