"""Mends Debian's libfaketime for Python, for every process that has this folder on PYTHONPATH.

Where only the wall clock is moved and the monotonic one is left true, as threads need it, the
library's clock_nanosleep fails with "invalid argument". A wait in select does not. A thread that
waits for the interpreter's lock does so until a moment of the monotonic clock, which the library
holds against the wall clock's seconds since 1970: its 5 ms are over at once, and threads hand the
lock to and fro all the time. Told to wait for longer than since 1970, it gets the lock when the
other one rests.
"""

import select
import sys
import time


def _sleep(seconds: float, /) -> None:
    if seconds < 0:
        raise ValueError("sleep length must be non-negative")
    select.select([], [], [], seconds)


time.sleep = _sleep
sys.setswitchinterval(5e9)  # seconds; until the year 2128, and within what the lock can count
