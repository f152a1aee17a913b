"""Mends Debian's libfaketime for Python, for every process that has this folder on PYTHONPATH.

Where only the wall clock is moved and the monotonic one is left true, as threads need it, the
library's clock_nanosleep fails with "invalid argument". A wait in select does not. A thread that
waits for the interpreter's lock is told at once that its 5 ms are over, so threads hand the lock
to and fro all the time; waiting for as good as ever, it gets the lock when the other one rests.
"""

import select
import sys
import time


def _sleep(seconds: float, /) -> None:
    if seconds < 0:
        raise ValueError("sleep length must be non-negative")
    select.select([], [], [], seconds)


time.sleep = _sleep
sys.setswitchinterval(1e9)  # seconds; more than any clock is moved
