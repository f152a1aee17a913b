"""A calendar file of the days jobs are wanted (iCalendar, RFC 5545)."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

FOLD_AT = 75  # octets in a line, without its break (RFC 5545, 3.1)


@dataclass(frozen=True, slots=True)
class WantedJob:
    """A job with the day it is wanted; `changed_at` is a moment in UTC."""

    number: int
    wanted_by: date
    summary: str
    description: str
    address: str
    changed_at: datetime


def write_calendar(jobs: Iterable[WantedJob], site: str) -> bytes:
    """Write the calendar, one whole-day event a job; `site` tells this book from others."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Laybook//Wanted-by dates//EN",
        "CALSCALE:GREGORIAN",
    ]
    for job in jobs:
        lines += [
            "BEGIN:VEVENT",
            f"UID:job-{job.number}@{site}",
            f"DTSTAMP:{job.changed_at.astimezone(UTC):%Y%m%dT%H%M%SZ}",
            f"DTSTART;VALUE=DATE:{job.wanted_by:%Y%m%d}",
            f"DTEND;VALUE=DATE:{job.wanted_by + timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{_escape(job.summary)}",
            f"DESCRIPTION:{_escape(job.description)}",
            f"URL:{job.address}",
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
