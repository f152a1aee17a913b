"""Mends Debian's libfaketime for Python, for every process that has this folder on PYTHONPATH.

Where only the wall clock is moved and the monotonic one is left true, as threads need it, the
library's clock_nanosleep fails with "invalid argument". A wait in select does not.
"""

import select
import time


def _sleep(seconds: float, /) -> None:
    if seconds < 0:
        raise ValueError("sleep length must be non-negative")
    select.select([], [], [], seconds)


time.sleep = _sleep
