"""Control-chart constants for moving ranges of two, as printed in the usual tables.

Published: d2 and D4 as printed, read in public code tables (ISO 7870-2 and ASTM E2587 were not
opened); printed tables differ in the last digit, so three decimals ± 0.001 are compared. The same
were computed elsewhere by integration.
"""

import pytest

from app.core.values.charts import D2, D4
from tests.published.data_files import read_rows

OF_TWO = next(row for row in read_rows("spc_constants.csv") if row["n"] == "2")


def test_the_constants_of_two_are_the_printed_ones_and_those_found_by_integration() -> None:
    assert pytest.approx(float(OF_TWO["pub_d2"]), abs=1e-3) == D2
    assert pytest.approx(float(OF_TWO["pub_D4"]), abs=1e-3) == D4
    assert pytest.approx(float(OF_TWO["d2"]), abs=1e-4) == D2
    assert pytest.approx(float(OF_TWO["D4"]), abs=1e-4) == D4
