"""AIAG Measurement Systems Analysis: the gauge study of 10 parts, 3 appraisers, 3 trials.

Published: the 90 values and their analysis of variance, as read in two independent public
test suites; the manual itself was not opened. This program studies one hand and one gauge, so
the equipment variation (EV) is what can be compared: each appraiser-and-part cell is a group.
"""

from collections import defaultdict

import pytest

from app.core.gauges.repeatability import study_repeatability
from tests.published.data_files import read_rows


def cells(*columns: str) -> list[list[float]]:
    groups: defaultdict[tuple[str, ...], list[float]] = defaultdict(list)
    for row in read_rows("aiag_grr.csv"):
        groups[tuple(row[column] for column in columns)].append(float(row["value"]))
    return list(groups.values())


def test_the_error_sum_of_squares_and_unpooled_ev_are_the_published_ones() -> None:
    study = study_repeatability(cells("appraiser", "part"))
    assert study.within_dof == 60
    assert study.within_ss == pytest.approx(2.7589, abs=5e-5)
    assert study.repeatability_mm == pytest.approx(0.214435, abs=5e-7)


def test_between_cells_is_the_sum_of_part_appraiser_and_interaction() -> None:
    study = study_repeatability(cells("appraiser", "part"))
    assert study.between_dof == 29
    assert study.between_ss == pytest.approx(88.3619 + 3.1673 + 0.3590, abs=2e-4)


def test_the_part_alone_as_a_group_gives_the_published_part_sum_of_squares() -> None:
    study = study_repeatability(cells("part"))
    assert study.between_ss == pytest.approx(88.3619, abs=5e-5)
    assert study.between_ss + study.within_ss == pytest.approx(94.6471, abs=5e-5)
