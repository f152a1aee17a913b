"""Kill the server (-9) at random under writing clients: `python -m tests.faults.kill_rounds 200`.

Each client drops pieces off, takes readings, notes passes and remarks, corrects its customer and
issues papers, and remembers every 303 it saw. After each kill the book is opened again by a new
server; then every acknowledged act must be there, no act by halves, and the database whole. Acts
that were under way when the server died are sent again with the same token, as a person who sees
no answer would: each must be there once.
"""

import http.client
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from app.store.postgresql.addresses import find_address
from tests.books import rows_of
from tests.databases import drop_databases, lay_on_server
from tests.faults.servers import DidNotStart, Server
from tests.lines import RECEIVED_LINE

# A line of four blades is ten readings: two rails, the tip and the bore.


@dataclass(frozen=True)
class Act:
    """One press of a button: where, what was in the form, and its token."""

    kind: str
    path: str
    fields: tuple[tuple[str, str], ...]
    token: str


@dataclass
class Ledger:
    """What the clients were told, over all rounds."""

    acknowledged: dict[str, Act] = field(default_factory=dict)
    in_doubt: dict[str, Act] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    jobs: dict[int, str] = field(default_factory=dict)
    figures: Counter[str] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)


def drop_off(token: str) -> Act:
    """Take a new customer's piece in."""
    typed = {
        "do": "take_in", "customer": "new", "customer_name": f"Customer {token}",
        "customer_phone": "01632 960456", "piece": "new", "piece_instrument_kind": "clarinet_bb",
        "piece_marking": token, "instrument_kind": "clarinet_bb", "condition": "cracked",
        "came_with": "cap", "request": f"request {token}",
    }  # fmt: skip
    return Act("drop-off", "/drop-off", tuple(typed.items()), token)


def on_job(kind: str, job: int, token: str) -> Act:
    """Do something to a job."""
    typed: dict[str, dict[str, str]] = {
        "readings": {"role": "at_the_bench", "line": RECEIVED_LINE,
                     "note": token},
        "passes": {"kind": "tilted", "abrasive": "wet paper", "grit": "600", "strokes": "8",
                   "pass_note": token},
        "notes": {"note": token},
        "papers/return_card": {},
    }  # fmt: skip
    return Act(kind, f"/jobs/{job}/{kind}", tuple(typed[kind].items()), token)


def send(server: Server, act: Act, ledger: Ledger) -> bool:
    """Send an act and write down what came of it; False if the server died over it."""
    with ledger.lock:
        ledger.in_doubt[act.token] = act
    form = {**dict(act.fields), "token": act.token}
    try:
        answer = server.post(act.path, form, timeout=60)
        while answer.status == 503:  # "The book is busy": press again, as the page offers
            with ledger.lock:
                ledger.figures["told to wait, pressed again"] += 1
            answer = server.post(act.path, form, timeout=60)
    except (OSError, http.client.HTTPException):
        return False
    with ledger.lock:
        ledger.in_doubt.pop(act.token)
        if answer.status == 303:
            ledger.acknowledged[act.token] = act
            if act.kind == "drop-off":
                ledger.jobs[int(answer.location.split("?")[0].rsplit("/", 1)[1])] = act.token
        else:
            ledger.refused.append(f"{answer.status} {act.kind} {answer.text[:300]}")
    return True


def work(server: Server, ledger: Ledger, name: str, seed: int) -> None:
    """Press buttons until the server is gone."""
    chance = random.Random(seed)  # noqa: S311 - a repeatable load, not a secret
    number = 0
    while True:
        number += 1
        token = f"{name}-{number}-{chance.randrange(10**9):09d}"
        with ledger.lock:
            jobs = list(ledger.jobs)
        kinds = ["drop-off", "readings", "passes", "notes", "notes", "papers/return_card"]
        kind = chance.choices(kinds, [4, 5, 5, 4, 4, 1])[0] if jobs else "drop-off"
        act = drop_off(token) if kind == "drop-off" else on_job(kind, chance.choice(jobs), token)
        if not send(server, act, ledger):
            return


def find_faults(database: Path, ledger: Ledger) -> list[str]:
    """Say what is missing, doubled or there by halves."""
    faults = []
    if find_address(database.parent) is None:
        faults += [str(row) for row in rows_of(database, "PRAGMA integrity_check")
                   if row != ("ok",)]  # fmt: skip
        faults += [f"reference {row}" for row in rows_of(database, "PRAGMA foreign_key_check")]
    for act in ledger.acknowledged.values():
        if (count := count_act(database, act)) != 1:
            faults.append(f"{act.kind} {act.token}: {count} times, was acknowledged")
    for what, query in HALVES.items():
        faults += [f"{what}: {row}" for row in rows_of(database, query)[:5]]
    return faults


def count_act(database: Path, act: Act) -> int:
    """Count how often an act is in the book: by its own record and by its token."""
    query = {
        "drop-off": "SELECT count(*) FROM job WHERE request = 'request ' || ?",
        "readings": "SELECT count(*) FROM reading_set WHERE note = ?",
        "passes": "SELECT count(*) FROM bench_pass WHERE note = ?",
        "notes": "SELECT count(*) FROM event WHERE words = ?",
        "papers/return_card": "SELECT count(*) FROM submission WHERE token = ?",
    }[act.kind]
    taken = rows_of(database, "SELECT count(*) FROM submission WHERE token = ?", act.token)
    return int(rows_of(database, query, act.token)[0][0]) if taken == [(1,)] else 0


# Each gives the records of which a part is missing or too much.
HALVES = {
    "customer without its drop-off": (
        "SELECT name FROM customer c WHERE (SELECT count(*) FROM piece WHERE owner_id = c.id) != 1 "
        "OR (SELECT count(*) FROM ownership WHERE customer_id = c.id) != 1 "
        "OR (SELECT count(*) FROM instrument WHERE customer_id = c.id) != 1 "
        "OR (SELECT count(*) FROM job WHERE customer_id = c.id) != 1"
    ),
    "job without its ticks or its first event": (
        "SELECT number FROM job j WHERE (SELECT count(*) FROM job_tick WHERE job_id = j.id) != 2 "
        "OR (SELECT count(*) FROM event WHERE job_id = j.id AND stage = 'dropped_off') != 1"
    ),
    "readings by halves": (
        "SELECT id FROM reading_set s WHERE "
        "(SELECT count(*) FROM reading WHERE set_id = s.id) != 10"
    ),
    "readings or passes without their line in the history": (
        "SELECT number FROM job j WHERE "
        "(SELECT count(*) FROM reading_set WHERE job_id = j.id) != "
        "(SELECT count(*) FROM event WHERE job_id = j.id AND kind = 'readings') OR "
        "(SELECT count(*) FROM bench_pass WHERE job_id = j.id) != "
        "(SELECT count(*) FROM event WHERE job_id = j.id AND kind = 'pass') OR "
        "(SELECT count(*) FROM slip WHERE job_id = j.id) != "
        "(SELECT count(*) FROM event WHERE job_id = j.id AND kind = 'slip')"
    ),
    "records without their token": (
        "SELECT 'records', n, 'tokens', t FROM (SELECT "
        "(SELECT count(*) FROM job) + (SELECT count(*) FROM reading_set) + "
        "(SELECT count(*) FROM bench_pass) + (SELECT count(*) FROM slip) + "
        "(SELECT count(*) FROM event WHERE kind = 'note') AS n, "
        "(SELECT count(*) FROM submission) AS t) AS counted WHERE n != t"
    ),
    "numbers of jobs with gaps or doubles": (
        "SELECT max(number), count(*) FROM job HAVING max(number) != count(*)"
    ),
}


def run_rounds(
    rounds: int,
    book: Path,
    seed: int,
    clients: int = 4,
    after_kill: Callable[[], None] = lambda: None,
) -> tuple[Ledger, list[str]]:
    """Kill the server so many times; gives the ledger and everything found wrong."""
    chance = random.Random(seed)  # noqa: S311 - a repeatable load, not a secret
    ledger, faults = Ledger(), []
    server = Server(book).wait()
    for number in range(rounds):
        threads = [
            threading.Thread(target=work, args=(server, ledger, f"r{number}c{one}", seed + one))
            for one in range(clients)
        ]
        for thread in threads:
            thread.start()
        time.sleep(chance.uniform(0.02, 1.2))
        server.kill()
        for thread in threads:
            thread.join()
        after_kill()
        if chance.random() < 0.1:
            # Now and then the next start is killed as well, somewhere on its way.
            starting = Server(book)
            time.sleep(chance.uniform(0.2, 2.5))
            starting.kill()
            after_kill()
            ledger.figures["kills during a start"] += 1
        try:
            server = Server(book).wait()
        except DidNotStart as error:
            return ledger, [*faults, f"round {number}: did not start: {error}"]
        for act in list(ledger.in_doubt.values()):
            there = count_act(book / "book.sqlite3", act) == 1
            ledger.figures["in doubt, was kept" if there else "in doubt, was not kept"] += 1
        for act in list(ledger.in_doubt.values()):
            if not send(server, act, ledger):
                faults.append(f"round {number}: no answer to {act.kind} {act.token} sent again")
        faults += [f"round {number}: {one}" for one in find_faults(book / "book.sqlite3", ledger)]
        ledger.figures["kills under load"] += 1
        if faults:
            break
    server.stop()
    return ledger, faults + [f"refused: {one}" for one in ledger.refused]


def main() -> int:
    """Run the rounds asked for and print the figures."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int(time.time())
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="kill-rounds-") as folder:
        book = lay_on_server(Path(folder) / "book")
        ledger, faults = run_rounds(rounds, book, seed)
        file = book / "book.sqlite3"
        size = f"book {file.stat().st_size / 1e6:.1f} MB" if file.exists() else "on a server"
    drop_databases()
    kinds = Counter(act.kind for act in ledger.acknowledged.values())
    print(f"seed {seed}, {time.monotonic() - began:.0f} s, {size}")
    for name, count in [*ledger.figures.items(), *kinds.items()]:
        print(f"{name}: {count}")
    print(f"acts acknowledged: {len(ledger.acknowledged)}")
    print(f"lost, doubled or by halves: {len(faults)}")
    for fault in faults[:20]:
        print("  ", fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
