"""Which backups to keep, how old is too old, and the words for both.

A backup is marked by its number, which only ever grows: a clock that was wrong for a day can
neither hide a backup nor have it thrown away.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from app.core.values.forms import Fields, Refused

REASONS: dict[str, str] = {
    "daily": "daily",
    "by_hand": "by hand",
    "before_upgrade": "before an upgrade",
    "before_restore": "before a restore",
    "before_import": "before an import",
    "before_move": "before a move to another database",
}
ALWAYS_KEPT = 5
DUE_AFTER = timedelta(hours=22)
OLD_AFTER = timedelta(hours=50)


@dataclass(frozen=True, slots=True)
class Rotation:
    """How many days, weeks and months keep their newest backup."""

    days: int = 14
    weeks: int = 8
    months: int = 24


@dataclass(frozen=True, slots=True)
class BackupMark:
    """What the rotation looks at."""

    number: int
    made_on: date
    reason: str


@dataclass(frozen=True, slots=True)
class UpkeepEntry:
    """The backup settings as typed."""

    folder: str
    rotation: Rotation


_PERIODS: tuple[tuple[str, Callable[[date], object]], ...] = (
    ("days", lambda day: day),
    ("weeks", lambda day: day.isocalendar()[:2]),
    ("months", lambda day: (day.year, day.month)),
)


def choose_kept(marks: Iterable[BackupMark], rotation: Rotation) -> frozenset[int]:
    """Choose the numbers to keep.

    The newest few of all and of each reason; and, of the regular ones, the newest of each of the
    last so many days, weeks and months that have any (a shop closed for a month loses none). What
    is made before something irreversible never pushes a regular one out.
    """
    newest_first = sorted(marks, key=lambda mark: -mark.number)
    kept = {mark.number for mark in newest_first[:ALWAYS_KEPT]}
    regular = [mark for mark in newest_first if not mark.reason.startswith("before_")]
    for name, period_of in _PERIODS:
        seen: set[object] = set()
        for mark in regular:
            period = period_of(mark.made_on)
            if period not in seen and len(seen) < getattr(rotation, name):
                seen.add(period)
                kept.add(mark.number)
    for reason in REASONS:
        of_reason = [mark.number for mark in newest_first if mark.reason == reason]
        kept.update(of_reason[:ALWAYS_KEPT])
    return frozenset(kept)


def gone_by(rotation: Rotation, today: date) -> date:
    """Say when the last regular backup of today's book goes, if one is made each day."""
    return today + timedelta(
        days=max(rotation.days, rotation.weeks * 7, rotation.months * 31, ALWAYS_KEPT)
    )


def is_due(last_made_at: datetime | None, now: datetime) -> bool:
    """Say whether a daily backup is due; one dated in the future counts for nothing."""
    return last_made_at is None or not timedelta(0) <= now - last_made_at < DUE_AFTER


def say_age(made_at: datetime, now: datetime) -> str:
    """Say how old a backup is."""
    age = now - made_at
    if age < -timedelta(minutes=5):
        return "dated in the future; is the clock right?"
    if age < timedelta(hours=1):
        return "less than an hour old"
    if age < timedelta(hours=48):
        hours = int(age / timedelta(hours=1))
        return f"{hours} hour{'s' if hours != 1 else ''} old"
    return f"{age.days} days old"


def find_fault(
    last_made_at: datetime | None, started_at: datetime, failure: str, now: datetime
) -> str:
    """Say what is wrong with the backups, or nothing."""
    if failure:
        return f"The last backup failed: {failure}"
    if last_made_at is None:
        if now - started_at > OLD_AFTER:
            return "There is no backup of this book yet."
        return ""
    if now - last_made_at > OLD_AFTER:
        return f"The last backup is {say_age(last_made_at, now)}."
    return ""


def parse_upkeep(raw: Mapping[str, str]) -> UpkeepEntry | Refused:
    """Read the backup settings."""
    fields = Fields(raw)
    counts: dict[str, int] = {}
    for name, label, least, most in (
        ("days", "days", 1, 366),
        ("weeks", "weeks", 0, 520),
        ("months", "months", 0, 600),
    ):
        number = fields.number_of(f"keep_{name}", needed=f"Write how many {label} to keep.")
        if number is not None and not least <= number <= most:
            fields.refuse(f"keep_{name}", f"Keep between {least} and {most} {label}.")
        counts[name] = number or 0
    entry = UpkeepEntry(fields.text("folder", limit=1000), Rotation(**counts))
    return fields.refused() or entry
