"""Numbers to words for page and paper: distances, intervals, rates, cells of tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from trod import units
from trod.findings.finding import Column
from trod.findings.rates import Interval
from trod.units import System
from trod.wording import between, count, days_number, number, share, trimmed


def clean(value: Any) -> Any:
    """Text, or everything within mappings and lists, without what neither SVG nor PDF can hold.

    That is: control characters and half surrogates.
    """
    if isinstance(value, str):
        kept = "".join(c if c >= " " or c == "\n" else " " for c in value)
        kept = "".join(" " if 0x7F <= ord(c) <= 0x9F or ord(c) in (0xFFFE, 0xFFFF) else c for c in kept)
        return kept.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, Mapping):
        return {key: clean(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [clean(inner) for inner in value]
    return value


def interval(found: Interval) -> str:
    """'0.792 to 1.88 (95 %)'; 'at most 1.2 (95 %)' when only the upper end says something."""
    level = f"{trimmed(100 * found.level)} %"
    if found.low == 0 and "one-sided" in found.kind:
        return f"at most {number(found.high)} ({level})"
    if math.isinf(found.high):
        return f"at least {number(found.low)} ({level})"
    return f"{between(found.low, found.high)} ({level})"


def rate(value: float, found: Interval | None) -> str:
    """'27.3 per 100 camera-days, 17.8 to 41.9 (95 %)'."""
    if value == 0 and found is not None:
        return f"none seen; {interval(found)} per 100 camera-days"
    words = f"{number(value)} per 100 camera-days"
    return f"{words}, {interval(found)}" if found is not None else words


def distance(length_m: float, system: System = "metric") -> str:
    """A distance for people: metres or kilometres, feet or miles, three digits at most."""
    if system == "us":
        feet = units.feet_from_m(length_m)
        return f"{trimmed(feet)} ft" if feet < 1000 else f"{trimmed(units.miles_from_m(length_m))} mi"
    return f"{trimmed(length_m)} m" if length_m < 1000 else f"{trimmed(length_m / 1000)} km"


def cell(value: object, column: Column) -> str:
    """One cell of a finding's table as text; a dash for what is not known."""
    if value is None or value == "":
        return "–"
    if isinstance(value, str):
        return value
    if isinstance(value, int | float):
        if column.kind == "count":
            return count(round(value))
        if column.kind == "share":
            return share(float(value))
        if column.kind == "days":
            return days_number(float(value))
        return number(float(value))
    return str(value)
