"""Input in the units a person reads: sign, conversion, and a slider's ends in round steps of that unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod import units as conversions
from trod.planning.place.inputs import Limit
from trod.telling import measures

_STEPS = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class Shown(conversions.Scale):
    """A unit as it is shown against the input's own. digits : behind the point. stored : the input's own unit."""

    digits: int = 1
    stored: str = ""


PERCENT = Shown("%", 0.01, digits=0)
US_DIGITS = {"m": 1, "cm": 1, "mm": 2, "m/s": 1, "°C": 0}


def shown(key: str, limit: Limit, units: str) -> Shown:
    """How an input is shown to a person who reads `units` ('metric' or 'us')."""
    if key == "night_share":
        return PERCENT
    by = conversions.scale(limit.unit, units)
    digits = US_DIGITS[limit.unit] if by.sign != limit.unit else 2 if limit.step < 0.1 else 1
    return Shown(by.sign, by.size, by.zero, digits=digits, stored=limit.unit)


def read(words: str, unit: Shown) -> float:
    """What stands in a box, in the input's own unit: a number in the shown one, or with its unit. Raises ValueError."""
    if unit.stored in conversions.UNITS:
        return measures.read(words, unit.stored, system="us" if unit.sign != unit.stored else "metric")
    return unit.to_stored(float(words.replace("−", "-").replace(",", ".")))


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
    step = limit.step / unit.size
    if unit.size != 1:
        step = min(_STEPS, key=lambda s: abs(math.log(s / step)))
    least, most = unit.from_stored(limit.least), unit.from_stored(limit.most)
    low, high = unit.from_stored(limit.low), unit.from_stored(limit.high)
    if unit.size != 1:
        low, high = math.ceil(low / step - 1e-9) * step, math.floor(high / step + 1e-9) * step
        low = max(low, math.ceil(least / step - 1e-9) * step)
    return Slider(round(low, 4), round(high, 4), step, least, most)


def text(value: float | None, unit: Shown, *, about: bool = False) -> str:
    """A stored value as it stands in the box; about : no finer than it is worth, for what is only advised."""
    if value is None:
        return ""
    return f"{round(unit.from_stored(value), unit.digits if about else max(unit.digits, 2)):g}"
