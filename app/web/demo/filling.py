"""The made-up shop: diaries in `demo_data/`, entered line by line the way the pages would.

Every line holds what would be typed on a page and goes through the same parse and store
functions as that page's form, on the day and at the hour it says. A line that a page would
refuse, or ask about without the data saying yes, stops the loading; nothing is kept by halves.
Days are counted back from the day of loading, so that the bench list is always of today.
"""

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from app.core.jobs.services import parse_services
from app.core.shop.marks import clean_mark
from app.core.shop.shop import parse_shop
from app.packed import folder_of
from app.store.problems import BookProblem
from app.store.records.drop_offs import Unknown
from app.store.records.services import save_services
from app.store.records.shop import awaits_first_choice, begin_book, get_shop, save_mark, save_shop
from app.web.demo.desk import Desk, DiaryRefused, Line, MadeUpShop, refuse, taken
from app.web.demo.jobs import JOB_DOERS
from app.web.demo.making import MAKING_DOERS
from app.web.settings import Settings

__all__ = ["DiaryRefused", "Line", "fill_book", "read_made_up_shop"]

JOB_FILES = ("jobs_gone_home.toml", "jobs_on_the_bench.toml")
OPENS = time(9, 0)
BETWEEN_LINES = timedelta(minutes=20)
DOERS: dict[str, Callable[[Desk, Line], None]] = {**JOB_DOERS, **MAKING_DOERS}


def read_made_up_shop(folder: Path | None = None) -> MadeUpShop:
    """Read the data files."""
    folder = folder or folder_of("demo_data")

    def read(name: str) -> dict[str, Any]:
        return tomllib.loads((folder / name).read_text(encoding="utf-8"))

    pieces = read("pieces.toml")
    jobs = [job for name in JOB_FILES for job in read(name)["job"]]
    lines = [line for number, job in enumerate(jobs) for line in _lines_of(number, job)]
    lines += [
        Line(line["days_ago"], line["do"], -1, _typed_in(line))
        for line in read("making.toml")["line"]
    ]
    lines += [Line(sale["days_ago"], "sell", -1, sale) for sale in pieces["sale"]]
    return MadeUpShop(
        shop=read("shop.toml")["shop"],
        services=tuple(read("shop.toml")["service"]),
        customers={customer["key"]: customer for customer in read("customers.toml")["customer"]},
        pieces={piece["key"]: piece for piece in pieces["piece"]},
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
        yield Line(line["days_ago"], line["do"], number, _typed_in(line))


def _typed_in(line: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in line.items() if name not in {"days_ago", "do"}}


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
        desk.settings = _settings_at(settings, moment)
        # Each line sees its job as a page would: written, and loaded afresh.
        session.flush()
        session.expire_all()
        try:
            DOERS[line.do](desk, line)
        except Unknown as unknown:
            raise refuse(line, {unknown.field: str(unknown)}) from unknown
    begin_book(session, "made_up")
    return len(data.lines)


def _timed(lines: Sequence[Line], settings: Settings) -> Iterator[tuple[Line, datetime]]:
    """Each line its moment: the shop opens at nine, a line takes twenty minutes."""
    for days_ago, of_day in groupby(lines, key=lambda line: line.days_ago):
        opens = datetime.combine(settings.today() - timedelta(days=days_ago), OPENS).astimezone()
        for place, line in enumerate(of_day):
            # What is entered on the day of loading must not lie ahead of the settings.
            yield line, min(opens + place * BETWEEN_LINES, settings.now())


def _settings_at(settings: Settings, moment: datetime) -> Settings:
    return replace(settings, now=lambda: moment)


def _keep_settings(desk: Desk) -> None:
    shop = get_shop(desk.session)
    as_shown = {
        name: str(getattr(shop, name))
        for name in (
            "terms",
            "care_text",
            "glass_id",
            "wedge_id",
            "bore_gauge_id",
            "blade_set_id",
            "look_again_months",
        )
    }
    as_shown["evenness_tolerance"] = str(shop.evenness_tolerance_mm)
    line = Line(0, "settings", -1, {**as_shown, **desk.data.shop})
    entry = taken(line, parse_shop(line.text()))
    save_shop(desk.session, entry, shop.version, desk.settings.now())
    for typed in desk.data.services:
        prices = Line(0, "prices", -1, {f"{name}_new0": value for name, value in typed.items()})
        lines = taken(prices, parse_services(prices.text(), (), entry.currency))
        save_services(desk.session, lines, {}, desk.settings.now())
    save_mark(desk.session, clean_mark((folder_of("demo_data") / "mark.svg").read_bytes()))
