"""Cards of random jobs: no sentence of one contradicts the table it prints."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.core.compare.card_front import SAME, SAME_TOO, list_figures
from app.core.compare.cards import build_measured_part
from app.core.compare.comparison import compare
from app.core.compare.differences import ReadSet, shorten_set
from app.core.compare.effort_words import LEFT_OUT
from app.core.facing.corrections import correct_readings
from app.core.facing.fits import INSIDE, OUTSIDE
from app.core.facing.measurements import Blade, GaugesInUse
from app.core.facing.wording import main_rail
from app.core.gauges.sizes import SetSizes
from app.core.values.units import SCALES, format_blade
from tests.simulated_cards import (
    CASES,
    CLARINET,
    DAY,
    GLASS,
    PLUG,
    SAXOPHONE,
    WEDGE,
    Moved,
    make_piece,
    make_shop,
    read_piece,
)  # fmt: skip

GAPS = sorted({*CLARINET, *SAXOPHONE}, reverse=True)
GAUGES = GaugesInUse(
    tuple(Blade(i, gap) for i, gap in enumerate(GAPS, 1)),
    SCALES["glass_half_mm"],
    SCALES["tip_mm"],
    SCALES["bore_in"],
)
MOVES = st.builds(
    Moved,
    st.sampled_from([0.0, 0.25, -0.5, 1.0]), st.sampled_from([0.0, 0.25, -0.5, 1.0]),
    st.sampled_from([0.0, 0.02, 0.08, -0.06]), st.sampled_from([0.0, 0.1]),
)  # fmt: skip
# what of a set goes unread, or is read four numbers off: the place among its readings
UNREAD = st.sets(st.integers(0, 9), max_size=3)
MISREAD = st.sampled_from([None, None, 1, 4])


@settings(deadline=None, max_examples=100)
@given(
    st.integers(0, 10_000), MOVES, st.booleans(), st.tuples(UNREAD, UNREAD), MISREAD,
    st.sampled_from([0.0, 0.0, 0.5]),
)  # fmt: skip
def test_no_card_of_a_random_job_contradicts_its_own_table(
    seed, moved, other_blades, unread, misread, shortened_mm
):
    rng = np.random.default_rng(seed)
    shop, piece = make_shop(rng, CLARINET), make_piece(rng, CLARINET)
    later = make_shop(rng, CLARINET, 101) if other_blades else shop
    if shortened_mm:
        moved = replace(
            moved, left=moved.left - shortened_mm, right=moved.right - shortened_mm, tip=-0.05
        )
    sets = (
        read_part(read_piece(rng, piece, shop), shop, unread[0]),
        read_part(read_piece(rng, piece, later, moved), later, unread[1], misread),
    )
    check_card(sets, shortened_mm)


def read_part(made, shop, unread, misread=None):
    """The same set with some of its readings missing, and one read four numbers off."""
    kept = [
        replace(one, value_mm=one.value_mm + 2.0) if place == misread else one
        for place, one in enumerate(made.readings)
        if place not in unread
    ]
    told = correct_readings(kept, SetSizes(DAY, shop.register, GLASS, WEDGE, PLUG))
    return ReadSet(told.facing, tuple(kept), told.in_force, made.laying_u_mm, told.uncertainties)


def number(text):
    text = text.partition("(")[2] or text  # the mm beside what stands on another scale
    return float(text.split()[0].replace("−", "-").rstrip("?").lstrip("="))


SAME_WORDS = {SAME, SAME_TOO}


def check_card(sets, shortened_mm=0.0):
    """Hold a card's sentences against its own rows and figures."""
    made = build_measured_part(*sets, GAUGES, 0.5, shortened_mm=shortened_mm)
    counted = shorten_set(sets[0], shortened_mm), sets[1]
    compared = compare(*counted)
    told, figures = made.told, {one.label: one for one in made.figures}
    front = {
        one.label: one
        for one in list_figures(sets[0].facing, sets[1].facing, told, made.rails, GAUGES.tip)
    }
    assert shortened_mm or told.moved == compared.moved
    check_rows(made, counted)
    check_figures(made)
    sure = [cell for cell in list_changes(made) if cell not in {"=", "–"} and "?" not in cell]
    if tip := front.get("Tip opening"):
        check_tip(tip, figures["Tip opening"], told)
    if length := front.get("Facing length"):
        check_length(length, figures.get("Facing length"), told, sure)
    # something is shown to have changed exactly where the card may say so
    shown = bool(sure) or any(one.verdict == "changed" for one in made.figures)
    assert shown == told.moved or compared.unplaced or shortened_mm
    for label, change in (("Tip opening", "tip_opening"), ("Facing length", "facing_length")):
        beyond = any(row.changed for row in compared.changes if row.quantity == change)
        if label in front and beyond:
            # a number larger than its own ± is never called the same
            assert front[label].sentence not in SAME_WORDS
            assert "stands where it stood" not in front[label].sentence
            assert figures[label].verdict != "="
        if label in front and front[label].sentence in SAME_WORDS:
            assert figures[label].verdict == "=" or shortened_mm
            assert shortened_mm or not told.as_whole
    # what the readings say of the curve and the rails
    assert not any("follow" in words for words in made.curves)
    for words in made.curves:
        analysis = compared.before if words.startswith("Before") else compared.after
        placed = "inside that curve" in words or "outside that curve" in words
        assert not placed or main_rail(analysis)[1].tip_stands in {INSIDE, OUTSIDE}
    if rails := front.get("Rails"):
        check_rails(rails, figures["Rails"], made)
    assert not made.reed or told.moved
    assert (LEFT_OUT in made.curves) == bool(made.reed)
    assert not made.reed or ("harder" in made.reed) != ("easier" in made.reed)
    assert not ("softer" in made.reed and "stronger" in made.reed)


def list_changes(made):
    return [cell for row in made.rows for cell in (row.change_left, row.change_right)]


def check_rows(made, sets):
    """Each row is what was read, and its change is what stands after less what stood before."""
    labels = [row.blade for row in made.rows]
    assert len(labels) == len(set(labels)), "a blade prints once"
    for row in made.rows:
        gap = next(gap for gap in GAPS if format_blade(gap) == row.blade)
        for rail in ("left", "right"):
            cells = [getattr(row, f"{when}_{rail}") for when in ("before", "after", "change")]
            for cell, one in zip(cells, sets, strict=False):
                stops = [stop for stop in getattr(one.facing, rail) if stop.gap_mm == gap]
                assert (cell == "–") == (not stops), "an unread blade keeps its dash"
                assert not stops or number(cell) == pytest.approx(
                    2.0 * stops[0].position_mm, abs=0.006
                )
            if "–" in cells[:2]:
                assert cells[2] == "–"
            elif cells[2] != "=":
                by = number(cells[1]) - number(cells[0])
                assert number(cells[2]) == pytest.approx(by, abs=0.011)


def check_figures(made):
    for one in made.figures:
        if not one.change or one.label in {"Rails", "Break point"}:
            continue
        by, u = number(one.change), number(one.change.partition("± ")[2])
        assert by == pytest.approx(number(one.after) - number(one.before), abs=0.03), one
        # what is said to have changed has changed by more than its ±
        assert one.verdict != "changed" or abs(by) >= u - 0.011, one
        assert one.verdict != "=" or abs(by) <= u + 0.011, one


def check_tip(tip, figure, told):
    assert (figure.verdict == "changed") == bool(told.tip_mm)
    assert ("than it came" in tip.sentence) == bool(told.tip_mm)
    if told.tip_mm:
        assert ("more open" in tip.sentence.lower()) == (number(figure.change) > 0)
        assert ("closer" in tip.sentence.lower()) == (number(figure.change) < 0)
        assert number(tip.after) - number(tip.before) == pytest.approx(told.tip_mm, abs=0.006)


def check_length(length, figure, told, sure):
    words = length.sentence.lower()
    if told.doubted:
        assert "taken again" in words
        assert figure.verdict in {"to be read again", "="}
        return
    if told.length_mm is None:
        assert "changed" not in words
        assert "than it came" not in words
        return
    way = {1: ("longer", "further from"), -1: ("shorter", "nearer the"), 0: ()}
    sign = int(np.sign(told.length_mm))
    for to, spoken in way.items():
        assert any(one in words for one in spoken) == (to == sign and sign != 0), length
    if told.together:
        assert figure.verdict in {"too little to tell alone", "to be read again"}
        assert "all blades together" in words
        assert "than it came" not in words
        assert sure
        return
    assert (figure.verdict == "changed") == bool(told.length_mm)
    assert ("than it came" in words) == bool(told.length_mm)
    assert not told.length_mm or np.sign(number(figure.change)) == sign


def check_rails(rails, figure, made):
    assert ("lie alike" in rails.sentence) == figure.after.startswith("even"), rails
    assert not made.told.again or "as far as can be measured" not in rails.sentence
    assert ("differ; that" in rails.sentence or "still differ" in rails.sentence) == (
        figure.after.startswith("uneven")
    ), rails
    assert "still" not in rails.sentence or figure.before.startswith("uneven")
    if "now they lie alike" in rails.sentence:
        assert figure.before.startswith("uneven")
        assert made.told.moved


def test_cards_of_every_simulated_kind_hold_together():
    for case in CASES:
        rng = np.random.default_rng(3)
        for _ in range(8):
            shop, piece = make_shop(rng, case.gaps), make_piece(rng, case.gaps)
            sets = read_piece(rng, piece, shop), read_piece(rng, piece, shop, case.moved)
            check_card(sets)
