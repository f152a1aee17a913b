"""The server killed under writing clients: the short version of `kill_rounds`."""

import pytest

from tests.faults.kill_rounds import run_rounds

pytestmark = pytest.mark.long


def test_killed_at_random_under_writers_every_acknowledged_act_is_there_once(tmp_path):
    ledger, faults = run_rounds(4, tmp_path / "book", seed=20261125)
    assert faults == []
    assert ledger.figures["kills under load"] == 4
    assert len(ledger.acknowledged) > 20
    assert len({act.kind for act in ledger.acknowledged.values()}) >= 4
