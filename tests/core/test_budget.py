"""Uncertainty budgets, on parts whose sum is known by hand."""

import math

import pytest

from app.core.budget import BudgetPart, combine_budget


def test_three_and_four_make_five() -> None:
    budget = combine_budget([BudgetPart("hand", 0.03), BudgetPart("scale", 0.04)])
    assert budget.u_mm == pytest.approx(0.05)
    assert budget.dof == math.inf
    assert budget.coverage_factor == pytest.approx(1.959964, rel=1e-6)


def test_one_part_keeps_its_own_degrees_of_freedom() -> None:
    budget = combine_budget([BudgetPart("hand", 0.2, 4)])
    assert budget.dof == pytest.approx(4)
    assert budget.coverage_factor == pytest.approx(2.776445, rel=1e-6)


def test_parts_of_nothing_make_nothing() -> None:
    budget = combine_budget([BudgetPart("hand", 0.0, 4)])
    assert (budget.u_mm, budget.expanded_mm) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([], "at least one part"),
        ([BudgetPart("hand", -0.1)], "hand"),
        ([BudgetPart("hand", math.nan)], "finite"),
        ([BudgetPart("hand", 0.1, 0)], "degrees of freedom"),
    ],
)
def test_impossible_parts_are_refused_by_name(parts: list[BudgetPart], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        combine_budget(parts)
