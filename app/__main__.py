"""`python -m app`, and `laybook` once installed."""

import gc
import sys


def run() -> int:
    """Load the program and run one verb; gives the exit code.

    What is loaded stays, so looking for garbage meanwhile is put off: it would take a tenth of
    the time to the first page.
    """
    gc.disable()
    from app.web.commands import main

    gc.freeze()
    gc.enable()
    return main()


if __name__ == "__main__":
    sys.exit(run())
