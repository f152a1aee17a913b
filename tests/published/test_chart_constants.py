"""Control-chart constants for samples of 2 to 10, as printed in the usual tables.

Published: d2, D4 and c4 as printed, read in public code tables (ISO 7870-2 and ASTM E2587
were not opened). d3 was computed elsewhere by integration. Printed tables differ
in the last digit (D4 of three is 2.574 or 2.575), so three decimals ± 0.001 are compared.
"""

from math import pi, sqrt

import pytest

from app.core.values.charts import compute_constants
from tests.published.data_files import read_rows

PRINTED = {"pub_d2": "d2", "pub_D4": "upper_d4", "pub_c4": "c4"}
COMPUTED = {"d2": "d2", "d3": "d3", "D4": "upper_d4", "c4": "c4"}


@pytest.mark.parametrize("row", read_rows("spc_constants.csv"), ids=lambda row: f"n={row['n']}")
def test_constants_are_the_printed_ones(row: dict[str, str]) -> None:
    constants = compute_constants(int(row["n"]))
    for column, name in PRINTED.items():
        assert getattr(constants, name) == pytest.approx(float(row[column]), abs=1e-3), column
    for column, name in COMPUTED.items():
        assert getattr(constants, name) == pytest.approx(float(row[column]), abs=1e-4), column


def test_the_constants_of_two_have_their_closed_forms() -> None:
    constants = compute_constants(2)
    assert constants.d2 == pytest.approx(2 / sqrt(pi), rel=1e-12)
    assert constants.d3 == pytest.approx(sqrt(2 - 4 / pi), rel=1e-9)
    assert constants.c4 == pytest.approx(sqrt(2 / pi), rel=1e-12)
