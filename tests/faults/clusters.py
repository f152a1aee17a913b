"""A PostgreSQL server of our own, to stop, kill and start: only its folder and a socket in it."""

import os
import shutil
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path

from sqlalchemy import URL, make_url

DEBIAN = Path("/usr/lib/postgresql")


def find_binaries() -> Path | None:
    """Find where the newest server's programs lie."""
    if found := shutil.which("initdb"):
        return Path(found).resolve().parent
    folders = sorted(DEBIAN.glob("*/bin"), key=lambda one: float(one.parent.name))
    return folders[-1] if folders else None


class Cluster:
    """A throw-away server; it refuses to run as root, so root hands it to the user postgres."""

    def __init__(self, binaries: Path) -> None:
        self._binaries = binaries
        self._folder = Path(tempfile.mkdtemp(prefix="laybook-pg-"))
        if os.geteuid() == 0:
            shutil.chown(self._folder, "postgres", "postgres")
        self._run("initdb", "--no-sync", "-A", "trust", "-U", "laybook", "-E", "UTF8",
                  "--locale=C.UTF-8", "-D", str(self._folder / "data"))  # fmt: skip

    def _run(self, program: str, *arguments: str) -> None:
        as_postgres = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        subprocess.run(
            [*as_postgres, str(self._binaries / program), *arguments],
            check=True, cwd="/", timeout=60, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    @property
    def address(self) -> URL:
        """Where it is reached."""
        return make_url(f"postgresql+psycopg://laybook@/postgres?host={self._folder}")

    def start(self) -> None:
        """Start it, and wait until it takes connections."""
        options = f"-c listen_addresses='' -c unix_socket_directories={self._folder}"
        self._run("pg_ctl", "start", "-w", "-D", str(self._folder / "data"),
                  "-l", str(self._folder / "log"), "-o", options)  # fmt: skip

    def stop(self, how: str) -> None:
        """Stop it: `fast` ends every connection in order, `immediate` kills it where it stands."""
        self._run("pg_ctl", "stop", "-w", "-m", how, "-D", str(self._folder / "data"))

    def remove(self) -> None:
        """Stop it and delete its folder."""
        with suppress(subprocess.CalledProcessError):  # it may be stopped already
            self.stop("immediate")
        shutil.rmtree(self._folder, ignore_errors=True)
