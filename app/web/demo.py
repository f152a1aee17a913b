"""The made-up shop: diaries in `demo_data/`, entered line by line the way the pages would.

Every line holds what would be typed on a page and goes through the same parse and store
functions as that page's form, on the day and at the hour it says. A line that a page would
refuse, or ask about without the data saying yes, stops the loading; nothing is kept by halves.
Days are counted back from the day of loading, so that the bench list is always of today.
"""

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from app.core.forms import Refused, format_amount
from app.core.jobs import STAGES, parse_agreed, parse_drop_off, parse_note
from app.core.measurements import Asked, parse_set
from app.core.passes import parse_pass
from app.core.shop import parse_shop
from app.core.slips import SLIP_KINDS
from app.store.book import BookProblem
from app.store.jobs import Unknown, add_event, get_job, move_job, take_in
from app.store.measurements import Measurement, measurements_of_job
from app.store.passes import strike_pass
from app.store.pieces import get_piece, pass_on_piece
from app.store.shop import (
    awaits_first_choice,
    begin_book,
    gauges_in_use,
    get_shop,
    list_blade_sets,
    save_shop,
)
from app.store.tables import Job
from app.web.files import folder_of
from app.web.jobs import keep_agreed, note_pass
from app.web.measurements import Bench, keep_set
from app.web.settings import Settings
from app.web.slip_values import Subject
from app.web.slips import issue_paper

Entry = TypeVar("Entry")
JOB_FILES = ("jobs_gone_home.toml", "jobs_on_the_bench.toml")
OPENS = time(9, 0)
DEMO_SITE = "http://127.0.0.1:8765"
BETWEEN_LINES = timedelta(minutes=20)


class DiaryRefused(Exception):  # noqa: N818 - a line of the data was refused, as a page would
    """A line of the demo data can't be entered; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the diary: the day, what is done, whose job it is, and what is typed."""

    days_ago: int
    do: str
    job: int
    typed: Mapping[str, Any]

    def text(self) -> dict[str, str]:
        """Give the typed fields as a form would send them."""
        return {
            name: str(value) for name, value in self.typed.items() if not isinstance(value, list)
        }

    def ticked(self, name: str) -> list[str]:
        """Give the values of a field that may have several."""
        return [str(value) for value in self.typed.get(name, ())]


@dataclass(frozen=True, slots=True)
class MadeUpShop:
    """The demo data: settings, customers and pieces by key, and the diary in order of days."""

    shop: Mapping[str, str]
    customers: Mapping[str, Mapping[str, Any]]
    pieces: Mapping[str, Mapping[str, Any]]
    lines: tuple[Line, ...]


def read_made_up_shop(folder: Path | None = None) -> MadeUpShop:
    """Read the data files."""
    folder = folder or folder_of("demo_data")

    def read(name: str) -> dict[str, Any]:
        return tomllib.loads((folder / name).read_text(encoding="utf-8"))

    pieces = read("pieces.toml")
    jobs = [job for name in JOB_FILES for job in read(name)["job"]]
    lines = [line for number, job in enumerate(jobs) for line in _lines_of(number, job)]
    lines += [Line(sale["days_ago"], "sell", -1, sale) for sale in pieces["sale"]]
    return MadeUpShop(
        shop=read("shop.toml")["shop"],
        customers={one["key"]: one for one in read("customers.toml")["customer"]},
        pieces={one["key"]: one for one in pieces["piece"]},
        # the sort is stable: lines of one day stay in the order they are written
        lines=tuple(sorted(lines, key=lambda line: -line.days_ago)),
    )


def _lines_of(number: int, job: Mapping[str, Any]) -> Iterator[Line]:
    yield Line(
        job["days_ago"],
        "take_in",
        number,
        {name: value for name, value in job.items() if name != "diary"},
    )
    for line in job["diary"]:
        typed = {name: value for name, value in line.items() if name not in {"days_ago", "do"}}
        yield Line(line["days_ago"], line["do"], number, typed)


@dataclass(slots=True)
class Desk:
    """Where the diary is entered: the session, the moment, and what each key became."""

    session: Session
    data: MadeUpShop
    clock: Settings
    customers: dict[str, int] = field(default_factory=dict)
    pieces: dict[str, int] = field(default_factory=dict)
    instruments: dict[tuple[str, str], int] = field(default_factory=dict)
    jobs: dict[int, int] = field(default_factory=dict)

    def job(self, line: Line) -> Job:
        """Give the line's job as its page would load it."""
        job = get_job(self.session, self.jobs[line.job])
        if job is None:
            raise DiaryRefused(f"{line.do}: there is no job {line.job}.")
        return job


def fill_book(session: Session, settings: Settings, data: MadeUpShop | None = None) -> int:
    """Enter the made-up shop into an untouched book and count its lines; the caller commits.

    Raises BookProblem if anything was ever written in the book, DiaryRefused for bad data.
    """
    if not awaits_first_choice(session):
        raise BookProblem(
            "This book was begun already; the made-up shop goes only into a new one. "
            "Nothing was changed. To open this book, say “serve” instead of “demo”."
        )
    data = data or read_made_up_shop()
    desk = Desk(session, data, settings)
    _keep_settings(desk)
    for line, moment in _timed(data.lines, settings):
        desk.clock = _clock_at(settings, moment)
        # Each line sees its job as a page would: written, and loaded afresh.
        session.flush()
        session.expire_all()
        try:
            DOERS[line.do](desk, line)
        except Unknown as unknown:
            raise _refused(line, {unknown.field: str(unknown)}) from unknown
    begin_book(session, "made_up")
    return len(data.lines)


def _timed(lines: Sequence[Line], settings: Settings) -> Iterator[tuple[Line, datetime]]:
    """Give each line its moment: the shop opens at nine, a line takes twenty minutes."""
    for days_ago, of_day in groupby(lines, key=lambda line: line.days_ago):
        opens = datetime.combine(settings.today() - timedelta(days=days_ago), OPENS).astimezone()
        for place, line in enumerate(of_day):
            # What is entered on the day of loading must not lie ahead of the clock.
            yield line, min(opens + place * BETWEEN_LINES, settings.now())


def _clock_at(settings: Settings, moment: datetime) -> Settings:
    return replace(settings, now=lambda: moment)


def _refused(line: Line, problems: Mapping[str, str]) -> DiaryRefused:
    words = "; ".join(f"{name}: {why}" for name, why in problems.items())
    return DiaryRefused(f"{line.do}, {line.days_ago} days ago, {dict(line.typed)}: {words}")


def _taken(line: Line, parsed: Entry | Refused) -> Entry:
    if isinstance(parsed, Refused):
        raise _refused(line, parsed.problems)
    return parsed


def _keep_settings(desk: Desk) -> None:
    shop = get_shop(desk.session)
    as_shown = {
        name: str(getattr(shop, name))
        for name in ("terms", "care_text", "glass_id", "wedge_id", "bore_gauge_id", "blade_set_id")
    }
    as_shown["evenness_tolerance"] = str(shop.evenness_tolerance_mm)
    line = Line(0, "settings", -1, {**as_shown, **desk.data.shop})
    entry = _taken(line, parse_shop(line.text()))
    save_shop(desk.session, entry, shop.version, desk.clock.now())


def _take_in(desk: Desk, line: Line) -> None:
    who, what, horn = (line.typed.get(name, "") for name in ("customer", "piece", "instrument"))
    raw = {
        **line.text(),
        **_known_or_new("customer", desk.customers.get(who), desk.data.customers[who]),
        **_known_or_new("piece", desk.pieces.get(what), desk.data.pieces[what]),
        **_played_on(desk, who, horn),
    }
    if "wanted_after" in line.typed:
        wanted = desk.clock.today() + timedelta(days=line.typed["wanted_after"])
        raw["wanted_by"] = wanted.isoformat()
    drop = parse_drop_off(
        raw, line.ticked("condition"), line.ticked("came_with"), desk.clock.today()
    )
    job = take_in(desk.session, _taken(line, drop), desk.clock.now())
    desk.jobs[line.job] = job.number
    desk.customers[who], desk.pieces[what] = job.customer_id, job.piece_id
    if job.instrument_id is not None:
        desk.instruments[who, horn] = job.instrument_id


def _known_or_new(noun: str, known: int | None, fields: Mapping[str, Any]) -> dict[str, str]:
    if known is not None:
        return {noun: str(known)}
    return {noun: "new"} | {f"{noun}_{name}": str(value) for name, value in fields.items()}


def _played_on(desk: Desk, who: str, horn: str) -> dict[str, str]:
    if not horn:
        return {"instrument": "none"}
    owned = {one["key"]: one for one in desk.data.customers[who]["instruments"]}
    return _known_or_new("instrument", desk.instruments.get((who, horn)), owned[horn])


def _read(desk: Desk, line: Line, replaces: Measurement | None = None) -> None:
    job, session = desk.job(line), desk.session
    gauges = gauges_in_use(session, _blade_set(desk, line.typed.get("blades")))
    entry = parse_set(line.text(), gauges, job.piece.instrument_kind, desk.clock.today())
    if isinstance(entry, Refused):
        raise _refused(line, entry.problems)
    questions = entry.questions if isinstance(entry, Asked) else {}
    if set(questions) != set(line.ticked("yes")):
        raise _refused(line, questions or {"yes": "there was no question to say yes to"})
    if isinstance(entry, Asked):
        entry = entry.entry
    bench = Bench(job.piece, job, "", "", replaces)
    keep_set(session, bench, entry, gauges, desk.clock.now(), line.typed.get("why", ""))


def _blade_set(desk: Desk, blades: int | None) -> int | None:
    if blades is None:
        return None
    found = (one.id for one in list_blade_sets(desk.session) if len(one.members) == blades)
    return next(found)


def _correct(desk: Desk, line: Line) -> None:
    replaces = measurements_of_job(desk.job(line))[line.typed["set"] - 1]
    if not line.typed.get("why"):
        raise _refused(line, {"why": "a correction says why"})
    typed = {"role": replaces.role, **line.typed}
    _read(desk, replace(line, typed=typed), replaces)


def _agree(desk: Desk, line: Line) -> None:
    job = desk.job(line)
    # The page comes filled with what the job says; only what is typed differs.
    raw = {
        "request": job.request,
        "condition_notes": job.condition_notes,
        "declared_value": format_amount(job.declared_value_minor),
        "wanted_by": job.wanted_by.isoformat() if job.wanted_by else "",
        "return_by": job.return_by,
        "tracking": job.tracking,
        "agreed_work": job.agreed_work,
        "agreed_price": format_amount(job.agreed_price_minor),
        "deposit": format_amount(job.deposit_minor),
        **line.text(),
    }
    ticks = [
        [tick.label for tick in job.ticks if tick.kind == kind]
        for kind in ("condition", "came_with")
    ]
    entry = _taken(line, parse_agreed(raw, *ticks))
    keep_agreed(desk.session, job, entry, job.version, desk.clock)


def _pass(desk: Desk, line: Line) -> None:
    entry = _taken(line, parse_pass(line.text(), desk.clock.today()))
    note_pass(desk.session, desk.job(line), entry, desk.clock.now())


def _strike(desk: Desk, line: Line) -> None:
    strike_pass(desk.job(line).passes[line.typed["pass"] - 1], desk.clock.now())


def _note(desk: Desk, line: Line) -> None:
    entry = _taken(line, parse_note(line.text(), desk.clock.today()))
    add_event(desk.session, desk.job(line), "note", entry.on, desk.clock.now(), entry.words)


def _move(desk: Desk, line: Line) -> None:
    stage = line.typed["stage"]
    if stage not in STAGES:
        raise _refused(line, {"stage": "there is no such stage"})
    move_job(desk.session, desk.job(line), stage, desk.clock.today(), desk.clock.now())


def _issue(desk: Desk, line: Line) -> None:
    job, kind = desk.job(line), SLIP_KINDS[line.typed["kind"]]
    issue_paper(desk.session, Subject(job.piece, job), kind, desk.clock, DEMO_SITE)


def _sell(desk: Desk, line: Line) -> None:
    piece = get_piece(desk.session, desk.pieces[line.typed["piece"]])
    new_owner = desk.customers[line.typed["to"]]
    if piece is None or piece.owner_id == new_owner:
        raise _refused(line, {"piece": "it can't be sold to whom it belongs"})
    pass_on_piece(
        desk.session, piece, new_owner, desk.clock.today(), piece.version, desk.clock.now()
    )


DOERS: dict[str, Callable[[Desk, Line], None]] = {
    "take_in": _take_in,
    "readings": _read,
    "correct": _correct,
    "agree": _agree,
    "pass": _pass,
    "strike": _strike,
    "note": _note,
    "move": _move,
    "paper": _issue,
    "sell": _sell,
}
