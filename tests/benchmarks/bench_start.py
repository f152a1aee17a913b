"""Start to the first answer beside importing the same libraries, and memory after every page.

Each start is a process of its own, from the command to the first page's last byte. The reference
imports what the program has imported by then, and nothing of ours.
"""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks.asking import Asker
from tests.benchmarks.bench_pages import list_pages
from tests.benchmarks.books import LARGE, SMALL, application, book_of
from tests.benchmarks.measuring import Row, say_time

ROOT = Path(__file__).resolve().parents[2]
STARTS, START_LIMIT, MEMORY_MIB = 5, 1.3, 250.0
LIST_IMPORTED = """
import sys, threading, urllib.request
from pathlib import Path
from app.web.app import create_app
from app.web.commands import main
from app.web.serving import address_of, listen, make_server
from app.web.settings import Settings, wall_clock
settings = Settings(book=Path(sys.argv[1]), now=wall_clock)
server, listener = make_server(create_app(settings)), listen(0)
thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
thread.start()
urllib.request.urlopen(address_of(listener)).read()
names = [name for name in sys.modules if not name.startswith(("app", "_"))]
server.should_exit = True
thread.join()
print(*sorted(names))
"""


def run() -> list[Row]:
    """Time starts in turns with the imports alone, best of five; then read a server's memory."""
    imports = imported_names()
    ours, reference = [], []
    for _ in range(STARTS):
        reference.append(time_process([sys.executable, "-c", imports]))
        ours.append(time_start(book_of(SMALL)))
    first, other = min(ours), min(reference)
    memory = memory_after_all_pages()
    return [
        Row("start to the first answer", "importing the same libraries", say_time(first),
            say_time(other), first / other, START_LIMIT,
            spread=(min(ours) / other, max(ours) / other)),
        Row("memory after every page of 100,000 jobs", "250 MiB", f"{memory:.0f} MiB",
            "250 MiB", memory / MEMORY_MIB, 1.0),
    ]  # fmt: skip


def imported_names() -> str:
    """Give lines that import every library the program has when the first page has gone out."""
    found = subprocess.run(
        [sys.executable, "-c", LIST_IMPORTED, str(book_of(SMALL))],
        cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    names = [name for name in found.stdout.split() if name not in {"__main__", "sys"}]
    return "\n".join(f"try:\n    import {name}\nexcept ImportError:\n    pass" for name in names)


def time_process(command: list[str]) -> float:
    """Time a process from start to end."""
    began = time.perf_counter()
    subprocess.run(command, cwd=ROOT, check=True)
    return time.perf_counter() - began


@contextmanager
def server(book: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start a server on a book; gives its process and address once it says where it listens."""
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--book", str(book), "--port", str(free_port()),
         "--no-browser"],
        cwd=ROOT, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        address = None
        for line in process.stdout:
            if address := re.search(r"http://\S+", line):
                break
        assert address is not None, "the server did not say where it listens"
        yield process, address.group(0)
    finally:
        process.terminate()
        process.wait(30)


def time_start(book: Path) -> float:
    """Time a start until the first page has arrived."""
    began = time.perf_counter()
    with server(book) as (_, address):
        while True:
            try:
                with urllib.request.urlopen(address) as answer:  # noqa: S310 - our own
                    answer.read()
                return time.perf_counter() - began
            except OSError:
                time.sleep(0.005)


def free_port() -> int:
    """Find a port that nobody has."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def memory_after_all_pages() -> float:
    """Open every page of the large book, with its pictures, and give the server's MiB."""
    asker = Asker()
    with application(LARGE) as app:
        pages = list_pages(app, asker)
    asker.close()
    with server(book_of(LARGE)) as (process, address):
        for page in pages.values():
            with urllib.request.urlopen(address.rstrip("/") + page) as answer:  # noqa: S310
                text = answer.read().decode()
            for picture in set(re.findall(r'src="(/[^"]+\.svg[^"]*)"', text)):
                at = address.rstrip("/") + picture.replace("&amp;", "&")
                with urllib.request.urlopen(at) as answer:  # noqa: S310
                    answer.read()
        return resident_mib(process.pid)


def resident_mib(process: int) -> float:
    """Read what a process holds in memory (Linux)."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20
