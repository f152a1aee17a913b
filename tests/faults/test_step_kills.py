"""Killed at each step of what is larger than one transaction, nothing is lost."""

import json
import subprocess
import sys

import pytest

from tests.databases import SERVER

pytestmark = pytest.mark.long

# What may be found, and every how many steps it is killed here; `step_kills` goes through all.
OUTCOMES = {
    "import": ({"empty", "imported"}, 11),
    "migration": ({"old", "new"}, 3),
    "backup": ({"made", "not made"}, 3),
    "restore": ({"replaced", "restored", "at any moment: replaced", "at any moment: restored"}, 5),
    "restore-of-damaged": ({"refused", "restored"}, 4),
}


@pytest.mark.parametrize(
    "what",
    [
        pytest.param(one, marks=pytest.mark.sqlite_file if one == "restore-of-damaged" else [])
        for one in OUTCOMES
    ],
)
def test_killed_at_its_steps_it_is_the_old_or_the_new_and_the_next_try_succeeds(
    worked_book, tmp_path, what
):
    allowed, every = OUTCOMES[what]
    ended = subprocess.run(
        [sys.executable, "-m", "tests.faults.step_kills", what, worked_book, tmp_path / "work",
         str(every)],
        capture_output=True, text=True, timeout=900 if SERVER else 300, check=False,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    found = json.loads(ended.stdout.splitlines()[-1])
    assert set(found) <= allowed
    assert sum(found.values()) >= (3 if SERVER else 4), "too few steps to mean anything"
    assert sum(found.get(name, 0) for name in ("new", "made", "restored", "imported")) >= 1
    print(what, found)
