"""Input in the units a person reads: sign, conversion, and a slider's ends in round steps of that unit."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from trod import units as conversions
from trod.planning.place.inputs import Limit

MILE_AN_HOUR = conversions.MILE_M / 3600
_STEPS = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class Shown:
    """A unit as it is shown. to_stored, from_stored : between it and the input's own unit. digits : behind the point."""

    sign: str
    to_stored: Callable[[float], float]
    from_stored: Callable[[float], float]
    digits: int
    scale: float = 1.0


def _by(sign: str, factor: float, digits: int) -> Shown:
    return Shown(sign, lambda v: v * factor, lambda v: v / factor, digits, factor)


PERCENT = _by("%", 0.01, 0)
US: dict[str, Shown] = {
    "m": _by("ft", conversions.FOOT_M, 1),
    "cm": _by("in", conversions.INCH_M * 100, 1),
    "mm": _by("in", conversions.INCH_M * 1000, 2),
    "m/s": _by("mph", MILE_AN_HOUR, 1),
    "°C": Shown("°F", conversions.c_from_fahrenheit, conversions.fahrenheit_from_c, 0, 5 / 9),
}


def shown(key: str, limit: Limit, units: str) -> Shown:
    """How an input is shown to a person who reads `units` ('metric' or 'us')."""
    if key == "night_share":
        return PERCENT
    if units == "us" and limit.unit in US:
        return US[limit.unit]
    return _by(limit.unit, 1.0, 2 if limit.step < 0.1 else 1)


@dataclass(frozen=True)
class Slider:
    """A slider's ends and step, and what is accepted at all, in the shown unit."""

    low: float
    high: float
    step: float
    least: float
    most: float


def slider(limit: Limit, unit: Shown) -> Slider:
    """A input's slider in the shown unit: ends on whole steps, and never beyond what is accepted."""
    step = limit.step / unit.scale
    if unit.scale != 1:
        step = min(_STEPS, key=lambda s: abs(math.log(s / step)))
    least, most = unit.from_stored(limit.least), unit.from_stored(limit.most)
    low, high = unit.from_stored(limit.low), unit.from_stored(limit.high)
    if unit.scale != 1:
        low, high = math.ceil(low / step - 1e-9) * step, math.floor(high / step + 1e-9) * step
        low = max(low, math.ceil(least / step - 1e-9) * step)
    return Slider(round(low, 4), round(high, 4), step, least, most)


def text(value: float | None, unit: Shown, *, about: bool = False) -> str:
    """A stored value as it stands in the box; about : no finer than it is worth, for what is only advised."""
    if value is None:
        return ""
    return f"{round(unit.from_stored(value), unit.digits if about else max(unit.digits, 2)):g}"
