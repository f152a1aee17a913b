"""NIST Statistical Reference Datasets, one-way analysis of variance: SiRstv and AtmWtAg.

From memory, data and certified values both: the data files were not at hand. The recalled
certified values are reproduced here from the recalled data, so a slip in either would show.
"""

import pytest

from app.core.gauges.repeatability import study_repeatability

SI_RSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]

# 107.868 in front of each
AG_FIRST = """1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486
              1419 1569 1508 1672 1385 1518 1662 1424 1360 1333 1610 1477"""
AG_SECOND = """1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448
               1198 1482 1334 1609 1101 1512 1469 1360 1254 1261 1450 1368"""
ATM_WT_AG = [[float(f"107.868{d}") for d in text.split()] for text in (AG_FIRST, AG_SECOND)]


def test_si_rstv_resistivity_agrees_to_ten_digits() -> None:
    study = study_repeatability(SI_RSTV)
    assert (study.between_dof, study.within_dof) == (4, 20)
    assert study.between_ss == pytest.approx(5.11462616e-02, rel=1e-10)
    assert study.within_ss == pytest.approx(2.1663656e-01, rel=1e-10)
    assert study.f == pytest.approx(1.18046237440255, rel=1e-10)
    assert study.repeatability_mm == pytest.approx(1.04076068334656e-01, rel=1e-10)


def test_atm_wt_ag_atomic_weight_keeps_its_digits_at_a_spread_of_one_in_ten_million() -> None:
    study = study_repeatability(ATM_WT_AG)
    assert (study.between_dof, study.within_dof) == (1, 46)
    assert study.between_ss == pytest.approx(3.638341875e-09, rel=1e-8)
    assert study.within_ss == pytest.approx(1.04951729166667e-08, rel=1e-8)
    assert study.f == pytest.approx(15.9467335677930, rel=1e-8)
    assert study.repeatability_mm == pytest.approx(1.51048314446410e-05, rel=1e-8)
