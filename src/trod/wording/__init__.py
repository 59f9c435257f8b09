"""How a number, a count, a share, a day and a length of time are said. One rule each, for every room and page.

It stands at the bottom, for errors of every room say such things too. Whole sentences are made in `trod.telling` and at
the edges.

numbers    three significant digits, intervals, sizes of files
counts     plurals, lists, camera-days
shares     per cent, and so many in 100
dates      days, months and periods, times of day
durations  how long, how long ago, how far a clock is off
"""

from trod.wording.counts import (
    camera_days,
    capital,
    count,
    days_number,
    listed,
    listed_at_most,
    plural,
    small_count,
    times,
)
from trod.wording.dates import (
    MONTHS,
    SHORT_MONTHS,
    WEEKDAYS,
    clock,
    day,
    day_month,
    moment,
    month,
    period,
    short_day,
    short_period,
    weekday_day,
)
from trod.wording.durations import ago, clock_error, exactly, lasting, span
from trod.wording.numbers import between, bytes_si, number, trimmed
from trod.wording.shares import in_100, percent, share

__all__ = [
    "MONTHS",
    "SHORT_MONTHS",
    "WEEKDAYS",
    "ago",
    "between",
    "bytes_si",
    "camera_days",
    "capital",
    "clock",
    "clock_error",
    "count",
    "day",
    "day_month",
    "days_number",
    "exactly",
    "in_100",
    "lasting",
    "listed",
    "listed_at_most",
    "moment",
    "month",
    "number",
    "percent",
    "period",
    "plural",
    "share",
    "short_day",
    "short_period",
    "small_count",
    "span",
    "times",
    "trimmed",
    "weekday_day",
]
