"""The table's profile: what the gaps under a straight edge tell, and what rests on it."""

from math import sqrt

import pytest

from app.core.compare.cards import build_measured_part
from app.core.compare.comparison import compare
from app.core.compare.comparison_words import say_tables
from app.core.compare.differences import ReadSet
from app.core.compare.table_profiles import CROWNED, FLAT, HOLLOW, ROCKS, judge_table, say_table
from app.core.facing.corrections import correct_readings
from app.core.facing.measurements import parse_set
from app.core.gauges.sizes import SetSizes
from tests.core.facing.test_measurements import GAUGES, TODAY

LINE = "35.5 23.5 12.5 6.5 / 1.11"


def read(gaps="", line=LINE, **more):
    """Read a set with the table's gaps as "heel middle break", "left/right" where they differ."""
    raw = {"role": "as_received", "line": line, **more}
    for place, cell in zip(("heel", "middle", "break"), gaps.split(), strict=False):
        for edge, text in zip(("left", "right"), cell.split("/"), strict=False):
            raw[f"table_{place}_{edge}"] = text
    parsed = parse_set(raw, GAUGES, "clarinet_bb", TODAY)
    assert not parsed.problems
    sizes = SetSizes(TODAY)
    told = correct_readings(parsed.entry.readings, sizes)
    return ReadSet(
        told.facing, parsed.entry.readings, told.in_force, sizes.laying_u_mm, told.uncertainties
    )


def table_of(gaps, **more):
    each = read(gaps, **more)
    return judge_table(each.readings, each.told)


@pytest.mark.parametrize(
    ("gaps", "verdict", "bow_mm", "twist_mm"),
    [
        ("0.00 0.03 0.00", HOLLOW, 0.03, None),
        ("0.00 0.01 0.00", FLAT, 0.01, None),
        # as a feeler finds it, the edge on the crown; and as a dial does, its zero at the ends
        ("0.03 0.00 0.03", CROWNED, -0.03, None),
        ("0.00 -0.03 0.00", CROWNED, -0.03, None),
        # an edge that leans tells the same
        ("0.06 0.03 0.00", FLAT, 0.0, None),
        ("0.04/0.00 0.02/0.02 0.00/0.04", ROCKS, 0.0, 0.08),
        ("0.01/0.00 0.01/0.01 0.00/0.01", FLAT, 0.005, 0.02),
    ],
)
def test_the_gaps_tell_what_a_table_is(gaps, verdict, bow_mm, twist_mm):
    table = table_of(gaps)
    assert table.verdict == verdict
    assert table.bow_mm == pytest.approx(bow_mm, abs=0.0026)
    assert table.twist_mm == (None if twist_mm is None else pytest.approx(twist_mm))


@pytest.mark.parametrize(
    ("gaps", "begins", "ends"),
    [
        ("0.01/0.00 0.01/0.01 0.00/0.01", "The table is flat, as far as", " mm."),
        ("0.00 0.01 0.00", "The table is flat along its length, as far as", "Twist wasn’t read."),
        (
            "0.01/0.00 – 0.00/0.01",
            "The table isn’t twisted, as far as",
            "it wasn’t read.",
        ),
    ],
)
def test_flat_is_said_only_of_what_was_read(gaps, begins, ends):
    said = say_table(table_of(gaps))
    assert said.startswith(begins)
    assert said.endswith(ends)


def test_a_bow_is_as_sure_as_its_three_gaps():
    # each written to 0.01 mm: 0.005/√3 for the step, half a step for the hand
    one = sqrt(0.005**2 / 3 + 0.005**2)
    assert table_of("0.00 0.03 0.00").bow_u_mm == pytest.approx(one * sqrt(1.5), rel=1e-6)
    assert table_of("0 0.03 0").bow_u_mm == pytest.approx(one * sqrt(1.5), rel=1e-6)
    assert table_of("0.00 0.03") is None


def test_on_a_crowned_table_the_glass_turns_about_its_middle():
    each = read("0.02 0.00 0.02")
    table = judge_table(each.readings, each.told)
    # ± (0.02 mm and its u) on 20 mm, seen at the tip 17.75 + 20 mm away, rectangular
    height = 0.02 + sqrt(0.005**2 / 3 + 0.005**2) * sqrt(1.5)
    assert table.tilt_u(each.facing, 0.0) == pytest.approx(height / 20 * 37.75 / sqrt(3), rel=1e-3)
    assert table.tilt_u(each.facing, 37.75) == pytest.approx(0.0)
    assert table.roll_u == 0.0


def test_a_change_that_a_rocking_table_may_have_made_is_not_told():
    after = read(line="35.5 23.5 12.5 6.5 / 1.16")
    firm, crowned = compare(read(), after), compare(read("0.04 0.00 0.04"), after)
    assert [one.quantity for one in firm.told] == ["tip_opening"]
    assert not crowned.moved
    # the glass tips all of a set one way: so it can't explain a tip that opened while stops stayed
    u = [one.expanded_uncertainty for one in (*firm.changes, *crowned.changes)
         if one.quantity == "tip_opening"]  # fmt: skip
    assert u[1] > 2 * u[0]


def test_words_say_what_the_table_is_and_what_rests_on_it():
    words = list(say_tables([read("0.03 0.00 0.03"), read("0.00 0.02 0.00")]))
    assert words[0].startswith("Before: The table is crowned by 0.03 ± 0.01 mm at its middle")
    assert "the tip is in doubt by ± 0.08 mm" in words[0]
    assert words[1] == "After: The table is hollow by 0.02 ± 0.01 mm at its middle."
    assert list(say_tables([read(), read()])) == []
    made = build_measured_part(read("0.03 0.00 0.03"), read(), GAUGES, 0.5)
    assert [one for one in made.curves if "crowned" in one]


def test_on_a_table_that_rocks_from_edge_to_edge_the_rails_can_t_be_told():
    uneven = "34/37 22/25.5 11.5/13.5 6.5 / 1.11"
    firm = build_measured_part(read(line=uneven), read(line=uneven), GAUGES, 0.5)
    rocks = build_measured_part(
        read(line=uneven), read("0.04/0.00 0.02/0.02 0.00/0.04", uneven), GAUGES, 0.5
    )
    assert firm.rails[1] == "uneven"
    assert rocks.rails[1] == "cannot tell"


def test_a_gap_may_have_a_minus_and_other_lengths_may_not():
    assert read("0.00 −0.02 0.00").readings[-2].value_mm == -0.02
    refused = parse_set({"line": LINE, "tip_rail_width": "-1"}, GAUGES, "clarinet_bb", TODAY)
    assert "tip_rail_width" in refused.problems
