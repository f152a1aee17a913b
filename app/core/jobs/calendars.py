"""A calendar file of the days jobs are wanted and things are awaited (iCalendar, RFC 5545)."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

FOLD_AT = 75  # octets in a line, without its break (RFC 5545, 3.1)


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """A day on which something is wanted or awaited; `changed_at` is a moment in UTC."""

    key: str
    day: date
    summary: str
    description: str
    address: str
    changed_at: datetime


def write_calendar(days: Iterable[CalendarDay], site: str) -> bytes:
    """Write the calendar, one whole-day event each; `site` tells this book from others."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Laybook//Wanted-by dates//EN",
        "CALSCALE:GREGORIAN",
    ]
    for event in days:
        lines += [
            "BEGIN:VEVENT",
            f"UID:{event.key}@{site}",
            f"DTSTAMP:{event.changed_at.astimezone(UTC):%Y%m%dT%H%M%SZ}",
            f"DTSTART;VALUE=DATE:{event.day:%Y%m%d}",
            f"DTEND;VALUE=DATE:{event.day + timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{_escape(event.summary)}",
            f"DESCRIPTION:{_escape(event.description)}",
            f"URL:{event.address}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{_fold(line)}\r\n" for line in lines).encode()


def _escape(text: str) -> str:
    """Escape a TEXT value (RFC 5545, 3.3.11); control signs are left out."""
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    text = "\\n".join(text.splitlines())
    return "".join(sign for sign in text if sign >= " " and sign != "\x7f")


def _fold(line: str) -> str:
    """Break a long line between signs, never inside one."""
    folded, size = [], 0
    for sign in line:
        octets = len(sign.encode())
        if size + octets > FOLD_AT:
            folded.append("\r\n ")
            size = 1
        folded.append(sign)
        size += octets
    return "".join(folded)
