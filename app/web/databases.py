"""The database as named on the command line: its password goes where the driver looks for one.

Afterwards no address in the program holds it, so none can be printed, noted or logged.
"""

import os

from sqlalchemy import URL

from app.store.postgresql.addresses import parse_address, without_password


def read_address(named: str) -> URL | None:
    """Read an address as given and put its password into PGPASSWORD; raises BookProblem."""
    address = parse_address(named)
    if address is None:
        return None
    if address.password is not None:
        os.environ["PGPASSWORD"] = str(address.password)
    return without_password(address)
