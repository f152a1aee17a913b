"""Load to hold: twenty clients at once for a minute, and memory after many requests.

A real server on a copy of the small book; kept connections; nine of ten requests look, one writes.
Clients look at each page for a second on average, as people do. Twenty that never pause wait for
each other, twenty times a page's time on average whatever the server does: that line has no limit.
"""

import random
import shutil
import statistics
import tempfile
import threading
import time
from contextlib import closing
from math import inf
from pathlib import Path
from urllib.parse import urlencode

from tests.benchmarks.bare import Connection
from tests.benchmarks.bench_pages import list_pages
from tests.benchmarks.books import SMALL, book_of
from tests.benchmarks.measuring import Row, say_time
from tests.faults.servers import Server

CLIENTS, SECONDS, NOTE_EVERY = 20, 60.0, 10
PAUSE = 1.0  # seconds, on average
FEW, MANY = 2_000, 20_000
TAIL_LIMIT, MEMORY_LIMIT = 20, 1.15


class Client(threading.Thread):
    """Asks for pages at random and now and then keeps a note, until told to stop."""

    def __init__(self, port: int, addresses: list[str], job: str, seed: int, pause: float) -> None:
        super().__init__(daemon=True)
        self._addresses, self._note = addresses, f"{job}/notes"
        self._port, self._random = port, random.Random(seed)  # noqa: S311 - only to mix
        self._pause = pause
        self.reads: list[float] = []
        self.failures: list[str] = []
        self.until = 0.0

    def run(self) -> None:
        """Ask one thing after another."""
        kept = Connection(self._port)
        with closing(kept.kept):
            for turn in range(1, MANY):
                if time.monotonic() >= self.until:
                    return
                time.sleep(self._random.uniform(0.0, 2.0 * self._pause))
                writes, address = turn % NOTE_EVERY == 0, self._random.choice(self._addresses)
                began = time.perf_counter()
                try:
                    if writes:
                        write_note(kept, self._note, f"{self.name}-{turn}")
                    else:
                        kept.fetch(address)
                        self.reads.append(time.perf_counter() - began)
                except (RuntimeError, OSError) as error:
                    self.failures.append(str(error))


def write_note(kept: Connection, address: str, token: str) -> None:
    """Keep a note of a job over a kept connection; anything but 303 raises RuntimeError."""
    body = urlencode({"note": "a note under load", "token": token})
    headers = {"Content-Type": "application/x-www-form-urlencoded",
               "Origin": f"http://127.0.0.1:{kept.port}"}  # fmt: skip
    kept.kept.request("POST", address, body, headers)
    answer = kept.kept.getresponse()
    answer.read()
    if answer.status != 303:
        raise RuntimeError(f"{address} was answered {answer.status}")


def memory_of(process: int) -> int:
    """Tell a process's resident memory, in kB."""
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0])


def run() -> list[Row]:
    """Hold the load; gives its tail, its failures and the growth of memory as lines."""
    with tempfile.TemporaryDirectory() as folder:
        book = shutil.copytree(book_of(SMALL), Path(folder) / "book")
        with Server(book) as server:
            addresses = list(list_pages(server).values())
            job = next(one for one in addresses if one.startswith("/jobs/"))
            alone = _time_alone(server, addresses)
            rows = [
                *_hold(server, addresses, job, alone, PAUSE, TAIL_LIMIT),
                *_hold(server, addresses, job, alone, 0.0, inf),
            ]
            few, many = _watch_memory(server, addresses)
    return [
        *rows,
        Row(f"memory after {MANY} requests", f"after {FEW}", f"{many / 1e3:.0f} MB",
            f"{few / 1e3:.0f} MB", many / few, MEMORY_LIMIT),
    ]  # fmt: skip


def _hold(
    server: Server, addresses: list[str], job: str, alone: float, pause: float, limit: float
) -> list[Row]:
    """Let the clients ask for a minute; the tail of what they waited, and what failed."""
    clients = [Client(server.port, addresses, job, seed, pause) for seed in range(CLIENTS)]
    for client in clients:
        client.name = f"{client.name}-{pause}"  # names the tokens of what it writes
        client.until = time.monotonic() + SECONDS
        client.start()
    for client in clients:
        client.join()
    reads = sorted(one for client in clients for one in client.reads)
    tail = reads[int(0.99 * len(reads))]
    failures = [one for client in clients for one in client.failures]
    for failure in sorted(set(failures))[:5]:
        print(failure)
    way = f"that pause {pause:.0f} s" if pause else "that never pause"
    clock = f"{CLIENTS} clients {way}, for {SECONDS:.0f} s, {len(reads)} reads"
    return [
        Row(f"{clock}: 99 of 100 within", "the median alone", say_time(tail), say_time(alone),
            tail / alone, limit),
        Row(f"{clock}: not answered", "none", str(len(failures)), "0", float(len(failures)), 0),
    ]  # fmt: skip


def _time_alone(server: Server, addresses: list[str]) -> float:
    kept, taken = Connection(server.port), []
    with closing(kept.kept):
        for address in addresses * 10:
            began = time.perf_counter()
            kept.fetch(address)
            taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def _watch_memory(server: Server, addresses: list[str]) -> tuple[int, int]:
    """Ask one page after another; gives the memory after a few requests and after many."""
    kept, few = Connection(server.port), 0
    with closing(kept.kept):
        for turn in range(MANY):
            if turn == FEW:
                few = memory_of(server.process.pid)
            kept.fetch(addresses[turn % len(addresses)])
    return few, memory_of(server.process.pid)
