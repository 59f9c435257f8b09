"""Days, months and times of day. Names of months and days do not depend on the machine's language."""

from __future__ import annotations

from datetime import date, datetime

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
SHORT_MONTHS = tuple(name[:3] for name in MONTHS)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def day(when: date, near: date | None = None) -> str:
    """'3 March 2026'. near : a day that was just told; the year is left out where it is the same."""
    return day_month(when) if near is not None and near.year == when.year else f"{day_month(when)} {when.year}"


def short_day(when: date) -> str:
    """'3 Mar 2026', for tables and narrow places."""
    return f"{when.day} {SHORT_MONTHS[when.month - 1]} {when.year}"


def day_month(when: date) -> str:
    """'3 March', where the year is plain."""
    return f"{when.day} {MONTHS[when.month - 1]}"


def weekday_day(when: date, *, year: bool = True) -> str:
    """'Tuesday, 3 March 2026', for days on which somebody goes."""
    return f"{WEEKDAYS[when.weekday()]}, {day(when) if year else day_month(when)}"


def moment(when: datetime, *, seconds: bool = False) -> str:
    """'3 Mar 2026 14:05', by the clock that the time is in."""
    return f"{short_day(when)} {when:%H:%M:%S}" if seconds else f"{short_day(when)} {when:%H:%M}"


def month(when: date) -> str:
    """'March 2026'."""
    return f"{MONTHS[when.month - 1]} {when.year}"


def period(first: date, last: date) -> str:
    """Two days, saying the year and month once when they are shared: '1 January to 31 March 2026'."""
    if first == last:
        return day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {day(last)}"
    return f"{day(first, last)} to {day(last)}"


def short_period(first: date, last: date) -> str:
    """As `period`, with short months: '1 Jan to 31 Mar 2026'."""
    if (first.year, first.month, first.day) == (last.year, last.month, last.day):
        return short_day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {short_day(last)}"
    if first.year == last.year:
        return f"{first.day} {SHORT_MONTHS[first.month - 1]} to {short_day(last)}"
    return f"{short_day(first)} to {short_day(last)}"


def clock(hours: float) -> str:
    """Hours of the day as '18:40', to ten minutes: no time of day here is known better."""
    minutes = round((hours % 24) * 6) * 10 % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
