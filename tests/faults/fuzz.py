"""`python -m tests.faults.fuzz [SECONDS] [SEED]` asks every address, form and operation anything.

Valid and invalid, over and over with other seeds until the time is over (300 s unless told); on
PostgreSQL too where LAYBOOK_TEST_DATABASE names a server. The exit code says whether all held.
"""

import os
import subprocess
import sys
import time

ASKED = [f"tests/faults/test_{name}.py" for name in ("addresses", "forms", "service")]


def main(seconds: int = 300, seed: int = 1) -> int:
    """Run rounds until the time is over or one fails."""
    pytest = [sys.executable, "-m", "pytest", "-q", "--no-header", "-p", "no:cacheprovider"]
    database = os.environ.get("LAYBOOK_TEST_DATABASE", "")
    servers = ["", database] if database else [""]
    for server in servers:
        environment = {**os.environ, "LAYBOOK_FUZZ": "4", "LAYBOOK_TEST_DATABASE": server}
        until = time.monotonic() + seconds / len(servers)
        while time.monotonic() < until:
            round_of = [*pytest, f"--hypothesis-seed={seed}", *ASKED]
            ended = subprocess.run(round_of, env=environment, check=False).returncode
            print(f"{'PostgreSQL' if server else 'SQLite'}, seed {seed}: {ended}", flush=True)
            if ended:
                return ended
            seed += 1
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(one) for one in sys.argv[1:])))
