"""Counts with their nouns, and lists of names."""

from __future__ import annotations

from collections.abc import Sequence

from trod.wording.numbers import number, trimmed

_SMALL = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


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


def camera_days(days: float) -> str:
    """'1 camera-day', '412 camera-days', '2 830 camera-days': three digits at most, two under ten."""
    shown = days_number(days)
    return f"{shown} camera-{'day' if shown == '1' else 'days'}"


def days_number(days: float) -> str:
    """Days without a unit, as tables show them."""
    if days < 10:
        return trimmed(days, 2)
    return count(round(days)) if days < 1000 else number(days)


def listed(parts: Sequence[str], last: str = "and") -> str:
    """'a', 'a and b', 'a, b and c'."""
    if not parts:
        return ""
    if len(parts) == 1:
        return parts[0]
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def listed_at_most(parts: Sequence[str], most: int = 4, noun: str = "others") -> str:
    """A list that stops after `most` names and counts the rest: two or more, for one is named as quickly."""
    if len(parts) <= most + 1:
        return listed(parts)
    return f"{', '.join(parts[:most])} and {count(len(parts) - most)} {noun}"


def capital(text: str) -> str:
    """The first letter made a capital, the rest left alone."""
    return text[:1].upper() + text[1:]
