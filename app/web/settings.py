"""What a running Laybook needs to know: its book, its address, its clock."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

VERSION = "0.1.0"  # the package's, as pyproject.toml has it
LOOPBACK_HOSTS = ("127.0.0.1", "localhost", "[::1]")


def wall_clock() -> datetime:
    """Tell the time by the machine's own clock, which nothing else reads."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one server; the clock is passed in, so that no test sees the wall's.

    `throw_away` says that the book is deleted when the server stops; `needs_login` that it listens
    on the network, and nothing is shown without the passphrase.
    """

    book: Path
    now: Callable[[], datetime]
    hosts: tuple[str, ...] = LOOPBACK_HOSTS
    throw_away: bool = False
    daily_backups: bool = False
    needs_login: bool = False

    def today(self) -> date:
        """The day it is at the bench."""
        return self.now().astimezone().date()
