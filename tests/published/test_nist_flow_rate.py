"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: individuals chart of a flow rate.

Ten batches and the chart's limits as published there: centre 50.81, mean moving range 1.8778,
UCL 55.8041, LCL 45.8159. Values from memory; the limits follow from the ten values, which rules
out a slip in their recall. The handbook divides by d₂ = 1.128, the program by 1.12838.
"""

import pytest

from app.core.values.charts import chart_individuals

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
UCL, CENTRE, LCL = 55.8041, 50.81, 45.8159
D2_PRINTED, D2 = 1.128, 1.128379167


def test_centre_steps_and_limits_are_the_published_ones():
    chart = chart_individuals(FLOW)
    assert chart.centre_mm == pytest.approx(CENTRE, abs=5e-5)
    assert (chart.upper_mm - chart.centre_mm) * D2 / 3.0 == pytest.approx(1.8778, abs=5e-5)
    # to the fourth place with the handbook's d₂, and to 0.002 with the true one
    for found, printed in ((chart.upper_mm, UCL), (chart.lower_mm, LCL)):
        assert found == pytest.approx(printed, abs=0.002)
        as_printed = CENTRE + (found - CENTRE) * D2 / D2_PRINTED
        assert as_printed == pytest.approx(printed, abs=1e-4)


def test_the_process_is_in_control_as_the_handbook_says():
    chart = chart_individuals(FLOW)
    assert chart.beyond == ()
    assert chart.provisional
