"""Start to the first answer beside importing the same libraries, and memory after every page.

Each start is a process of its own, from the command to the first page's last byte. The reference
imports what the program has imported by then, and nothing of ours.
"""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

from tests.benchmarks.bare import connected
from tests.benchmarks.bench_pages import list_pages
from tests.benchmarks.books import LARGE, SMALL, book_of
from tests.benchmarks.measuring import Row, say_time
from tests.faults.servers import Server

ROOT = Path(__file__).resolve().parents[2]
STARTS, START_LIMIT, MEMORY_MIB = 5, 1.3, 250.0
LIST_IMPORTED = """
import sys, urllib.request
from pathlib import Path
from app.web.app import create_app
from app.web.commands import main
from app.web.serving import served
from app.web.settings import Settings, wall_clock
with served(create_app(Settings(book=Path(sys.argv[1]), now=wall_clock))) as address:
    urllib.request.urlopen(address).read()
    names = [name for name in sys.modules if not name.startswith(("app", "_"))]
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
            say_time(other), first / other, START_LIMIT, (first / other, max(ours) / other)),
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


def time_start(book: Path) -> float:
    """Time a start until the first page has arrived."""
    began = time.perf_counter()
    with Server(book) as server:
        server.get("/")
        return time.perf_counter() - began


def memory_after_all_pages() -> float:
    """Open every page of the large book, with its pictures, and give the server's MiB."""
    with Server(book_of(LARGE)) as server, connected(server) as connection:
        for page in list_pages(server).values():
            text = connection.fetch(page, Accept_Encoding="identity").decode()
            for picture in set(re.findall(r'src="(/[^"]+\.svg[^"]*)"', text)):
                connection.fetch(picture.replace("&amp;", "&"))
        return resident_mib(server.process.pid)


def resident_mib(process: int) -> float:
    """Read what a process holds in memory (Linux)."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20
