"""How long something lasts, how long ago it was, how far a clock is off."""

from __future__ import annotations

from trod.wording.counts import plural
from trod.wording.numbers import trimmed

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0
MONTH_DAYS, YEAR_DAYS = 30.44, 365.25


def span(seconds: float) -> str:
    """A length of time as a person rounds it: '25 minutes', '3 hours', '12 days', '4 months', '2.5 years'."""
    days = seconds / DAY_S
    if seconds < MINUTE_S:
        return "less than a minute"
    if seconds < 2 * HOUR_S:
        return plural(round(seconds / MINUTE_S), "minute")
    if days < 2:
        return plural(round(seconds / HOUR_S), "hour")
    if days < 60:
        return plural(round(days), "day")
    if days < 2 * YEAR_DAYS:
        return plural(round(days / MONTH_DAYS), "month")
    return f"{trimmed(days / YEAR_DAYS, 2)} years"


def ago(seconds: float) -> str:
    """How long ago: 'just now', '25 minutes ago'."""
    return "just now" if seconds < 2 * MINUTE_S else f"{span(seconds)} ago"


def exactly(seconds: float) -> str:
    """A length of time that somebody chose, unrounded, in its largest fitting unit: '2 minutes', '90 seconds'."""
    for size, name in ((DAY_S, "day"), (HOUR_S, "hour"), (MINUTE_S, "minute")):
        if seconds >= size and seconds % size == 0:
            return plural(int(seconds // size), name)
    if seconds >= 2 * MINUTE_S and seconds % 6 == 0:
        return f"{seconds / MINUTE_S:g} minutes"
    return f"{seconds:g} second{'' if seconds == 1 else 's'}"


def lasting(seconds: float) -> str:
    """A measured length, to the minute where it goes over one: '40 s', '12 min', '1 h', '2 h 5 min', '3 days'."""
    whole = round(seconds / MINUTE_S)
    if seconds < 90:
        return f"{seconds:.0f} s"
    if whole < 60:
        return f"{whole} min"
    if seconds < 2 * DAY_S:
        return f"{whole // 60} h {whole % 60} min" if whole % 60 else f"{whole // 60} h"
    if seconds < 2 * YEAR_DAYS * DAY_S:
        return f"{seconds / DAY_S:.0f} days"
    return f"{trimmed(seconds / DAY_S / YEAR_DAYS, 2)} years"


def clock_error(error_s: float) -> str:
    """How far a camera's clock is ahead: '3 min fast', '2 days slow'; 'right' within half a second."""
    if abs(error_s) < 0.5:
        return "right"
    return f"{lasting(abs(error_s))} {'fast' if error_s > 0 else 'slow'}"
