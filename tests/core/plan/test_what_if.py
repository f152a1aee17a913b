"""What if, in numbers: an opened arc is open by as much, a longer one as much longer."""

import pytest

from app.core.plan.facings import PlainFacing, even_up
from app.core.plan.what_if import Wish, alter
from app.core.values.readings import Uncertainties
from tests.core.planning import BLADES_MM, CLOSE, read_arc, read_numbers


def test_nothing_wished_changes_nothing() -> None:
    for now in (CLOSE, read_arc(PlainFacing(17.3, 1.08), 0.1)):
        same = alter(now, Wish(), BLADES_MM, Uncertainties())
        for was, is_now in zip(now.left, same.left, strict=True):
            assert is_now.position_mm == pytest.approx(was.position_mm, abs=1e-6)
        assert same.tip_opening_mm == now.tip_opening_mm


def test_opened_keeps_the_length_and_longer_keeps_the_tip() -> None:
    now = read_arc(PlainFacing(17.3, 1.08))
    opened = alter(now, Wish(opened_mm=0.1), BLADES_MM, Uncertainties())
    assert opened.tip_opening_mm == pytest.approx(1.18)
    assert opened.left[0].position_mm == pytest.approx(17.3, abs=0.02)
    assert opened.left[2].position_mm > now.left[2].position_mm + 0.2
    longer = alter(now, Wish(longer_mm=1.0), BLADES_MM, Uncertainties())
    assert longer.tip_opening_mm == now.tip_opening_mm
    for was, is_now in zip(now.left, longer.left, strict=True):
        assert is_now.position_mm == pytest.approx(was.position_mm * 18.3 / 17.3, abs=0.02)


def test_evened_is_what_evening_up_means() -> None:
    uneven = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 20.5, 11.5, 5.5])
    evened = alter(uneven, Wish(evened=True), BLADES_MM, Uncertainties())
    wanted = even_up(uneven)
    assert [one.position_mm for one in evened.right] == pytest.approx(
        [one.position_mm for one in wanted.right], abs=1e-6
    )
