"""The one table of units: what a quantity is kept in, and what a reader of each system sees.

Numbers in, numbers out; SI inside, US customary at the edge. How a quantity is worded is `trod.telling.measures`.

The international foot is 0.3048 m and the pound 0.45359237 kg, both exact
(United States National Bureau of Standards, Federal Register 24 FR 5348, 1959-07-01).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

System = Literal["metric", "us"]

FOOT_M = 0.3048
INCH_M = FOOT_M / 12
MILE_M = 5280 * FOOT_M
YARD_M = 3 * FOOT_M
POUND_KG = 0.45359237
ACRE_M2 = 4840 * YARD_M**2

Kind = Literal["length", "speed", "temperature", "mass", "area", "angle", "share", "data", "time"]


@dataclass(frozen=True)
class Unit:
    """A unit. size : how many of its kind's SI unit one of it is (°C for temperatures). zero : where its zero lies."""

    sign: str
    kind: Kind
    size: float = 1.0
    zero: float = 0.0


_ALL = (
    Unit("m", "length"),
    Unit("km", "length", 1000.0),
    Unit("cm", "length", 0.01),
    Unit("mm", "length", 0.001),
    Unit("ft", "length", FOOT_M),
    Unit("in", "length", INCH_M),
    Unit("yd", "length", YARD_M),
    Unit("mi", "length", MILE_M),
    Unit("m/s", "speed"),
    Unit("km/h", "speed", 1 / 3.6),
    Unit("mph", "speed", MILE_M / 3600),
    Unit("°C", "temperature"),
    Unit("°F", "temperature", 5 / 9, -160 / 9),
    Unit("kg", "mass"),
    Unit("lb", "mass", POUND_KG),
    Unit("km²", "area", 1e6),
    Unit("ha", "area", 1e4),
    Unit("mi²", "area", MILE_M**2),
    Unit("acres", "area", ACRE_M2),
    Unit("°", "angle"),
    Unit("%", "share"),
    Unit("GB", "data"),
    Unit("TB", "data", 1000.0),
    Unit("MB", "data", 0.001),
    Unit("s", "time"),
    Unit("min", "time", 60.0),
    Unit("h", "time", 3600.0),
)
UNITS: Mapping[str, Unit] = MappingProxyType({unit.sign: unit for unit in _ALL})
# What a reader of US units sees instead; a metric reader sees what is kept.
US: Mapping[str, str] = MappingProxyType(
    {
        "m": "ft", "cm": "in", "mm": "in", "km": "mi", "m/s": "mph", "km/h": "mph", "°C": "°F", "kg": "lb",
        "km²": "mi²", "ha": "acres",
    }
)  # fmt: skip


@dataclass(frozen=True)
class Scale:
    """A shown unit against a kept one. size : how many kept ones one shown is. zero : the kept value of shown 0."""

    sign: str
    size: float = 1.0
    zero: float = 0.0

    def to_stored(self, shown: float) -> float:
        """A shown value as it is kept."""
        return shown * self.size + self.zero

    def from_stored(self, stored: float) -> float:
        """A kept value as it is shown."""
        return (stored - self.zero) / self.size


def between(stored: str, shown: str) -> Scale:
    """The scale from one unit to another of its kind. Raises ValueError."""
    if stored == shown:
        return Scale(shown)
    if stored not in UNITS or shown not in UNITS or UNITS[stored].kind != UNITS[shown].kind:
        raise ValueError(f"{stored} and {shown} are no two units of one kind")
    kept, seen = UNITS[stored], UNITS[shown]
    return Scale(shown, seen.size / kept.size, (seen.zero - kept.zero) / kept.size)


def scale(stored: str, system: System | str = "metric") -> Scale:
    """The scale on which a quantity kept in `stored` is shown; its own where the system has no other."""
    return between(stored, US[stored]) if system == "us" and stored in US else Scale(stored)


def system_of(word: str) -> System:
    """The system of units that a setting or a choice names; metric for any other word."""
    return "us" if word == "us" else "metric"


def feet_from_m(length_m: float) -> float:
    """A length in metres, in feet."""
    return length_m / FOOT_M


def miles_from_m(length_m: float) -> float:
    """A length in metres, in statute miles."""
    return length_m / MILE_M
