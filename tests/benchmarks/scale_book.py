"""Makes a book of a lifetime: `python -m tests.benchmarks.scale_book FOLDER [JOBS]`.

100,000 jobs with their passes and history, 60,000 pieces, 400,000 reading sets with 3,600,000
readings, through bulk inserts on the schema that the migrations make. The same number always
makes the same book.
"""

import random
import sqlite3
import sys
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from app.store.postgresql.addresses import DATABASE_NAME
from app.store.records.search import rebuild_index, searchable
from app.web.app import open_book
from app.web.settings import Settings, wall_clock

JOBS = 100_000
STAGES = ("dropped_off", "measured", "agreed", "on_the_bench", "play_test", "ready")
ROLES = ("as_received", "at_the_bench", "at_the_bench", "as_returned")
FIRST = ("Ada", "Bo", "Cleo", "Dov", "Éva", "Fritzi", "Gus", "Hana", "Íris", "Jun", "Kaï", "Łucja")
LAST = ("Amsel", "Birke", "Dohle", "Eibe", "Föhre", "Gimpel", "Häher", "Iltis", "Jaspis", "Kiesel")
MAKERS = ("Kestrel Row", "Otterhuff", "Plover Works", "Tern & Daughter", "Wrenhollow")
BLADES_MM = (0.8636, 0.6096, 0.254, 0.0381)
FIRST_DAY = date(1996, 1, 1)
NOON = "2026-01-01 12:00:00.000000"


def make_scale_book(folder: Path, jobs: int = JOBS) -> None:
    """Fill a new book at `folder` with `jobs` jobs and what belongs to them."""
    open_book(Settings(book=folder, now=wall_clock)).close()
    chance = random.Random(jobs)  # noqa: S311 - made-up data, the same each time
    pieces, customers = jobs * 6 // 10, max(1, jobs * 3 // 10)
    connection = sqlite3.connect(folder / DATABASE_NAME)
    connection.execute("PRAGMA synchronous=OFF")
    blades = [
        connection.execute(
            "SELECT id FROM gauge WHERE kind = 'blade' AND abs(nominal_mm - ?) < 1e-6", (gap,)
        ).fetchone()[0]
        for gap in BLADES_MM
    ]
    with connection:
        _insert(connection, "customer", _customers(customers, chance))
        _insert(connection, "piece", _pieces(pieces, customers, chance))
        _insert(connection, "ownership", _ownerships(connection))
        _insert(connection, "job", _jobs(jobs, pieces, chance))
        connection.execute(
            "UPDATE job SET customer_id = (SELECT owner_id FROM piece WHERE id = job.piece_id)"
        )
        _insert(connection, "job_tick", _ticks(jobs))
        _insert(connection, "bench_pass", _passes(connection))
        _insert(connection, "event", _events(connection))
        _insert(connection, "reading_set", _sets(connection))
        _insert(connection, "reading", _readings(connection, blades, chance))
    connection.execute("PRAGMA optimize")
    connection.close()
    sessions = open_book(Settings(book=folder, now=wall_clock))
    with sessions.write() as session:
        rebuild_index(session.connection())
        session.commit()
    sessions.close()


def _insert(connection: sqlite3.Connection, table: str, rows: Iterator[dict[str, object]]) -> None:
    first = next(rows)
    names = list(first)
    marks = ", ".join("?" for _ in names)
    statement = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})"  # noqa: S608 - our names
    connection.execute(statement, list(first.values()))
    connection.executemany(statement, (tuple(row.values()) for row in rows))


def _customers(count: int, chance: random.Random) -> Iterator[dict[str, object]]:
    for key in range(1, count + 1):
        name = f"{chance.choice(FIRST)} {chance.choice(LAST)}{chance.choice(LAST).lower()} {key}"
        phone = f"01632 96{chance.randrange(10**4):04d}"
        yield {
            "id": key, "name": name, "phone": phone, "email": "", "address": "", "plays": "",
            "notes": "", "search_text": searchable(name, phone), "created_at": NOON, "version": 1,
        }  # fmt: skip


def _pieces(count: int, customers: int, chance: random.Random) -> Iterator[dict[str, object]]:
    for key in range(1, count + 1):
        maker, marking = chance.choice(MAKERS), f"K{chance.randrange(10**6):06d}"
        yield {
            "id": key, "owner_id": chance.randrange(customers) + 1,
            "instrument_kind": "clarinet_bb", "maker": maker, "model": "", "marking": marking,
            "material": "hard_rubber", "telling_marks": "", "notes": "",
            "search_text": searchable(maker, marking), "created_at": NOON, "version": 1,
        }  # fmt: skip


def _ownerships(connection: sqlite3.Connection) -> Iterator[dict[str, object]]:
    for key, owner in connection.execute("SELECT id, owner_id FROM piece").fetchall():
        yield {"piece_id": key, "customer_id": owner, "since": FIRST_DAY.isoformat()}


def _jobs(count: int, pieces: int, chance: random.Random) -> Iterator[dict[str, object]]:
    # Thirty years of work; about a hundred jobs are open at the end, as in a busy shop.
    for key in range(1, count + 1):
        day = FIRST_DAY + timedelta(days=key * 30 * 365 // count)
        still_open = key > count - 100
        # Piece 1 comes back again and again: it is the one whose page is measured.
        piece = 1 if key % max(1, count // 5) == 0 else chance.randrange(pieces) + 1
        yield {
            "id": key, "number": key, "piece_id": piece, "customer_id": 1,
            "stage": chance.choice(STAGES) if still_open else "returned",
            "dropped_off": day.isoformat(), "wanted_by": (day + timedelta(days=14)).isoformat(),
            "returned_on": None if still_open else (day + timedelta(days=9)).isoformat(),
            "request": "a little more open", "condition_notes": "", "agreed_work": "open the tip",
            "return_by": "hand", "tracking": "", "created_at": NOON, "version": 1,
        }  # fmt: skip


def _ticks(count: int) -> Iterator[dict[str, object]]:
    for job in range(1, count + 1):
        yield {"job_id": job, "kind": "condition", "label": "bite marks on the beak"}
        yield {"job_id": job, "kind": "came_with", "label": "cap"}


def _passes(connection: sqlite3.Connection) -> Iterator[dict[str, object]]:
    for job, day in connection.execute("SELECT id, dropped_off FROM job").fetchall():
        for kind, grit, strokes in (("tilted", "600", 12), ("flat", "1000", 8)):
            yield {"job_id": job, "done_on": day, "kind": kind, "abrasive": "wet paper",
                   "grit": grit, "strokes": strokes, "note": "", "created_at": NOON}  # fmt: skip


def _events(connection: sqlite3.Connection) -> Iterator[dict[str, object]]:
    rows = connection.execute("SELECT id, dropped_off, returned_on FROM job").fetchall()
    for job, dropped_off, returned_on in rows:
        for stage, day in (("dropped_off", dropped_off), ("returned", returned_on)):
            if day:
                yield {"job_id": job, "kind": "stage", "on_date": day, "at": NOON,
                       "words": stage.replace("_", " "), "stage": stage}  # fmt: skip


def _sets(connection: sqlite3.Connection) -> Iterator[dict[str, object]]:
    gauges = connection.execute("SELECT glass_id, wedge_id FROM shop").fetchone()
    for job, piece, day in connection.execute(
        "SELECT id, piece_id, dropped_off FROM job"
    ).fetchall():
        for role in ROLES:
            yield {"piece_id": piece, "job_id": job, "role": role, "taken_on": day, "note": "",
                   "blade_set_id": 1, "glass_id": gauges[0],
                   "wedge_id": gauges[1], "replaces_why": "", "created_at": NOON}  # fmt: skip


def _readings(
    connection: sqlite3.Connection, blades: list[int], chance: random.Random
) -> Iterator[dict[str, object]]:
    keys = [key for (key,) in connection.execute("SELECT id FROM reading_set").fetchall()]
    for key in keys:
        shift = chance.randrange(-3, 4)
        for blade, gap, number in zip(blades, BLADES_MM, (6, 12, 23, 35), strict=True):
            for rail in ("left", "right"):
                read = number + shift * number / 35 // 0.5 * 0.5 + chance.choice((0, 0, 0, 0.5))
                yield _reading(
                    key, "blade", f"{read:g}", "glass_half_mm", read / 2, rail, blade, gap
                )
        tip = 106 + shift * 2
        yield _reading(key, "tip", f"{tip / 100:.2f}", "tip_mm", tip / 100)


def _reading(
    key: int, quantity: str, typed: str, scale: str, value_mm: float,
    rail: str = "", gauge: int | None = None, gap_mm: float | None = None,
) -> dict[str, object]:  # fmt: skip
    return {"set_id": key, "quantity": quantity, "rail": rail, "gauge_id": gauge, "gap_mm": gap_mm,
            "name": "", "typed": typed, "scale": scale, "value_mm": value_mm}  # fmt: skip


if __name__ == "__main__":
    started = time.perf_counter()
    make_scale_book(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else JOBS)
    print(f"made in {time.perf_counter() - started:.0f} s")
