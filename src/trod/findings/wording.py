"""Numbers and dates in words, rounded no finer than they deserve.

Three significant digits at most: a page never pretends to know more. Full precision lives in `to_json`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_SMALL = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def number(value: float, digits: int = 3) -> str:
    """A number with at most `digits` significant digits, never in powers of ten.

    Counts below 1000 keep every digit; larger ones are rounded and grouped with a thin blank.
    """
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "without limit" if value > 0 else "without lower limit"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    if rounded != 0:  # 9.996 rounds up into the next decade: count its places anew
        places = digits - 1 - math.floor(math.log10(abs(rounded)))
    text = f"{rounded:,.{max(places, 0)}f}".replace(",", "\u202f")
    return text.replace("-", "−")


def trimmed(value: float, digits: int = 3) -> str:
    """As `number`, without zeros at the end: for values a person chose, such as '30 minutes'."""
    text = number(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def count(value: int) -> str:
    """A count as it is, thousands parted by a thin blank: a count is known, so it is not rounded."""
    return f"{value:,d}".replace(",", "\u202f")


def small_count(value: int) -> str:
    """Counts up to twelve as words, 'no' for none; larger ones as digits."""
    return _SMALL[value] if 0 <= value < len(_SMALL) else count(value)


def plural(value: int, one: str, many: str | None = None, *, words: bool = False) -> str:
    """'1 detection', '2 detections'; with `words`, 'one detection', 'no detections'."""
    noun = one if value == 1 else (many or one + "s")
    return f"{small_count(value) if words else count(value)} {noun}"


def times(value: int) -> str:
    """'once', 'twice', '3 times'."""
    return {1: "once", 2: "twice"}.get(value) or f"{count(value)} times"


def listed(parts: Sequence[str], last: str = "and") -> str:
    """'a', 'a and b', 'a, b and c'."""
    if not parts:
        return ""
    if len(parts) == 1:
        return parts[0]
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def listed_at_most(parts: Sequence[str], most: int = 4, noun: str = "others") -> str:
    """A list that stops after `most` names and counts the rest."""
    if len(parts) <= most:
        return listed(parts)
    return f"{', '.join(parts[:most])} and {count(len(parts) - most)} {noun}"


def share(value: float) -> str:
    """A share 0..1 as whole per cent; 'under 1 %' and 'over 99 %' rather than a false 0 or 100."""
    if math.isnan(value):
        return "unknown"
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return f"{round(value * 100)} %"


def day(when: date) -> str:
    """'3 March 2026'."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def month(when: date) -> str:
    """'March 2026'."""
    return f"{MONTHS[when.month - 1]} {when.year}"


def period(first: date, last: date) -> str:
    """Two days, saying the year and month once when they are shared: '1 January to 31 March 2026'."""
    if first == last:
        return day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {day(last)}"
    if first.year == last.year:
        return f"{first.day} {MONTHS[first.month - 1]} to {day(last)}"
    return f"{day(first)} to {day(last)}"


def clock(hours: float) -> str:
    """Hours of the day as '18:40', to ten minutes: no time of day here is known better."""
    minutes = round((hours % 24) * 6) * 10 % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def between(low: float, high: float) -> str:
    """An interval's two ends, '0.79 to 1.88'."""
    return f"{number(low)} to {number(high)}"


def capital(text: str) -> str:
    """The first letter made a capital, the rest left alone."""
    return text[:1].upper() + text[1:]
