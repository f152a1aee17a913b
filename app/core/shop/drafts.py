"""Which of a page's fields make a draft, and how old it is in words."""

from collections.abc import Mapping
from datetime import datetime

from app.core.values.forms import plural

# What a page sends with every form; alone it is nothing typed.
NOT_TYPED = frozenset({"token", "asked", "place", "do"})
SET_BY_THE_PAGE = frozenset(
    {"role", "taken_on", "blade_set", "version", "dial_scale", "dial_gauge", "calliper"}
)


def pick_draft(values: Mapping[str, str]) -> dict[str, str]:
    """Pick what is worth keeping of a half-filled form; empty if nothing was typed."""
    kept = {name: text for name, text in values.items() if text.strip() and name not in NOT_TYPED}
    return kept if set(kept) - SET_BY_THE_PAGE else {}


def say_age(then: datetime, now: datetime) -> str:
    """Say how long ago something was, as people do.

    >>> from datetime import timedelta
    >>> noon = datetime(2026, 11, 25, 12)
    >>> say_age(noon, noon + timedelta(minutes=5)), say_age(noon, noon + timedelta(days=2))
    ('5 minutes ago', '2 days ago')
    """
    seconds = round((now - then).total_seconds())
    if seconds < -300:
        return "at a time that lies ahead (is the clock right?)"
    for size, unit in ((86400, "day"), (3600, "hour"), (60, "minute")):
        if seconds >= size:
            return f"{plural(seconds // size, unit)} ago"
    return "a moment ago"
