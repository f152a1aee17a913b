"""An analysis kept in memory is the one that would be made now, for one set or many."""

from dataclasses import replace

import pytest

from app.core.facing import recalling
from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.facing.recalling import recall_analysis, recall_evenness
from app.core.values.readings import BladeStop, DialReading, FacingReadings, Uncertainties

BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)


def facing(*numbers, tip=1.06, u_mm=None):
    stops = tuple(
        BladeStop(gap, number / 2, None if u_mm is None else 0.003, u_mm)
        for gap, number in zip(BLADES_MM, numbers, strict=True)
    )
    return FacingReadings(stops, stops, tip, None if u_mm is None else 0.01)


def same(one, other):
    """Compare what two analyses say; fits made together differ in the last bits."""
    for rail in ("left", "right", "mean"):
        mine, theirs = getattr(one, rail), getattr(other, rail)
        assert (mine.chosen, mine.tip_in_fit) == (theirs.chosen, theirs.tip_in_fit)
        for fit in mine.fits:
            assert fit.parameters == pytest.approx(theirs.fit(fit.curve).parameters, rel=1e-7)
    assert [row.verdict for row in one.evenness] == [row.verdict for row in other.evenness]
    return True


@pytest.fixture(autouse=True)
def nothing_kept():
    recalling._analyses.clear()
    recalling._evenness.clear()


def test_what_is_recalled_is_what_would_be_worked_out():
    for numbers in ((35.5, 23.5, 11.5, 5.5), (33.5, 21.5, 11.5, 5.5), (35.5, 23.5, 11.5, 5.5)):
        told = facing(*numbers)
        assert same(recall_analysis(told), analyse_facing(told))
        strict = recall_analysis(told, evenness_tolerance_mm=0.1)
        assert same(strict, analyse_facing(told, evenness_tolerance_mm=0.1))


def test_many_sets_of_different_uncertainties_come_back_in_their_order():
    asked = [
        (facing(35.5, 23.5, 11.5, 5.5), Uncertainties(), 0.5),
        (facing(33.5, 21.5, 11.5, 5.5), Uncertainties(position_mm=0.3), 0.5),
        (facing(33.5, 21.5, 11.5, 5.5), Uncertainties(), 0.5),
        (facing(35.5, 23.5, 11.5, 5.5), Uncertainties(), 0.5),
        (facing(35.5, 23.5, 12.5, 6.5, u_mm=0.2), Uncertainties(position_mm=0.3), 0.25),
    ]
    for _ in range(2):
        found = recall_evenness(asked)
        for (told, uncertainties, tolerance_mm), rows in zip(asked, found, strict=True):
            now = analyse_facing(told, uncertainties, evenness_tolerance_mm=tolerance_mm)
            assert [row.verdict for row in rows] == [row.verdict for row in now.evenness]
            assert [row.u_um for row in rows] == pytest.approx([row.u_um for row in now.evenness])
            assert same(
                recall_analysis(told, uncertainties, evenness_tolerance_mm=tolerance_mm), now
            )
    assert found[0] is found[3]


def test_the_oldest_are_let_go():
    for number in range(recalling.KEPT + 5):
        recall_analysis(facing(35.5, 23.5, 11.5, 5.5, tip=1.0 + number / 1000))
    assert len(recalling._analyses) == recalling.KEPT


def test_impossible_readings_are_refused_and_not_kept():
    broken = replace(facing(35.5, 23.5, 11.5, 5.5), tip_opening_mm=-1.0)
    for _ in range(2):
        with pytest.raises(MalformedReading, match="tip opening"):
            recall_analysis(broken)
    assert not recalling._analyses


def test_evenness_alone_is_that_of_the_whole_analysis():
    left, right = facing(35.5, 23.5, 11.5, 5.5), facing(37.5, 25.5, 12.5, 5.5)
    dials = (DialReading(2.0, 0.95), DialReading(4.0, 0.8))
    cases = [
        left,
        replace(left, right=right.left),
        replace(left, right=right.left[:3]),
        replace(left, right=()),
        replace(left, right=right.left, tip_opening_mm=None),
        replace(left, left=right.left[:2], right=left.right[:2]),  # too few to judge a curve by
        replace(
            left, left=facing(35.5, 29.5, 11.5, 5.5).left, right=facing(35.5, 30.5, 11.5, 5.5).left
        ),  # refused
        replace(left, right=right.left, dial_left=dials, dial_right=dials),
        FacingReadings(tip_opening_mm=1.06),
    ]
    for tolerance_mm in (0.1, 0.5):
        found = recall_evenness([(one, Uncertainties(), tolerance_mm) for one in cases])
        for told, rows in zip(cases, found, strict=True):
            whole = analyse_facing(told, evenness_tolerance_mm=tolerance_mm).evenness
            assert [row.verdict for row in rows] == [row.verdict for row in whole]
            for mine, theirs in zip(rows, whole, strict=True):
                assert mine.height_difference_um == pytest.approx(
                    theirs.height_difference_um, rel=1e-7
                )
    assert {row.verdict for rows in found for row in rows} >= {"even", "uneven"}
