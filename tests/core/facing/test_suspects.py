"""A reading that fits the others worst is asked about, and while it stands nothing rests on it."""

from app.core.facing.analysis import analyse_facing
from app.core.facing.evenness import CANNOT_TELL, EVEN, UNEVEN, blade_key
from app.core.facing.measurements import parse_set
from app.core.facing.suspects import ask_suspects, find_suspects, leave_out, suspects_of
from app.core.facing.wording import READ_AGAIN, describe_facing, list_blade_rows, rails_of
from app.core.gauges.sizes import SetSizes
from app.core.values.readings import Uncertainties
from app.core.values.units import SCALES
from tests.core.compare.test_comparison import told
from tests.core.facing.test_measurements import GAUGES, TODAY

SPOILT = {"line": "35.5 23.5/27 12 5.5 / 1.07"}


def ask(entry):
    return ask_suspects(entry, SetSizes(entry.taken_on))


def read(raw):
    return parse_set({"role": "as_received", **raw}, GAUGES, "clarinet_bb", TODAY, ask)


def test_a_reading_that_fits_the_others_worst_is_asked_about_and_kept_with_a_yes():
    asked = read(SPOILT)
    assert asked.asks
    (field,) = asked.questions
    assert field.endswith("_right")
    assert asked.questions[field] == (
        "27 with the 0.010 in blade on the right rail fits the others worst. Read it again; until "
        "then nothing is said from it."
    )
    assert not read({**SPOILT, "asked": asked.token}).asks
    assert not read({"line": "35.5 23.5 12 5.5 / 1.07"}).questions


def test_read_again_and_the_same_it_is_so_and_is_said():
    asked = read(SPOILT)
    assert asked.again
    again = read({**SPOILT, "asked": asked.token, "again": "yes"})
    assert not again.asks
    told = {(one.rail, one.gap_mm) for one in again.entry.readings if one.confirmed}
    assert told == {("right", 0.254)}
    analysis = analyse_facing(again.entry.facing)
    assert not find_suspects(analysis)
    assert not suspects_of(again.entry.facing, Uncertainties())
    assert rails_of(analysis).verdict == UNEVEN
    # a tick where nothing is asked marks nothing
    plain = read({"line": "35.5 23.5 12 5.5 / 1.07", "again": "yes"})
    assert not any(one.confirmed for one in plain.entry.readings)


def test_while_it_stands_the_rails_are_judged_without_its_blade():
    facing = told((5.5, 12, 23.5, 35.5), 1.07, right=(5.5, 12, 27, 35.5))
    analysis = analyse_facing(facing)
    assert find_suspects(analysis) == {("right", blade_key(0.254))}
    assert next(row for row in analysis.evenness if row.gap_mm == 0.254).verdict == UNEVEN
    assert rails_of(analysis).verdict in {EVEN, CANNOT_TELL}
    words = " ".join(describe_facing(analysis, SCALES["glass_half_mm"]))
    assert "uneven" not in words
    rows = list_blade_rows(analysis, facing, SCALES["glass_half_mm"])
    assert [row.verdict == READ_AGAIN for row in rows] == [row.blade == "0.010 in" for row in rows]
    left = leave_out(facing, find_suspects(analysis))
    assert (len(left.left), len(left.right)) == (4, 3)
