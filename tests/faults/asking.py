"""How often the tests that ask anything ask: a few times the same way, or long and at random.

`python -m tests.faults.fuzz` sets LAYBOOK_FUZZ to ask so many times as often, each run anew.
"""

import os

from hypothesis import HealthCheck, settings

TIMES = int(os.environ.get("LAYBOOK_FUZZ", "0"))


def asking(examples: int) -> settings:
    """Set how many examples a test is given."""
    return settings(
        max_examples=examples * max(TIMES, 1),
        derandomize=not TIMES,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
