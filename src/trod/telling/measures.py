"""Lengths, weights, speeds and temperatures as a person says them, and read back as a person writes them."""

from __future__ import annotations

import math
import re
import unicodedata

from trod import units, wording
from trod.errors import WrongInput
from trod.units import System

__all__ = [
    "HARDLY_M",
    "WINDS",
    "System",
    "air",
    "climb",
    "diameter",
    "example",
    "figure",
    "hours",
    "length",
    "mass",
    "read",
    "speed",
    "thickness",
    "to_step",
    "way",
    "wheels",
    "wind",
]

HARDLY_M = {"metric": 0.025, "us": 0.0127}  # half a step of what is said
WINDS = (
    "north", "north-north-east", "north-east", "east-north-east", "east", "east-south-east", "south-east",
    "south-south-east", "south", "south-south-west", "south-west", "west-south-west", "west",
    "west-north-west", "north-west", "north-north-west",
)  # fmt: skip
_EIGHTHS = ("", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8")


def length(length_m: float, system: System = "metric") -> str:
    """A length in metres, to 5 cm below a metre and two figures above; or in feet and inches."""
    if math.isinf(length_m):
        return "beyond sight"
    if 0 < length_m < HARDLY_M[system]:
        return "under 5 cm" if system == "metric" else "under 1 in"
    if system == "us":
        feet = units.feet_from_m(length_m)
        if abs(feet) >= 7:
            return f"{feet:.0f} ft"
        inches = round(feet * 12)
        sign, inches = ("-" if inches < 0 else ""), abs(inches)
        if inches < 12:
            return f"{sign}{inches} in"
        return f"{sign}{inches // 12} ft" + (f" {inches % 12} in" if inches % 12 else "")
    if abs(length_m) < 0.975:
        return f"{round(length_m * 20) / 20 + 0.0:.2f} m"
    return f"{length_m:.1f} m" if abs(length_m) < 9.95 else f"{length_m:.0f} m"


def thickness(thickness_mm: float, system: System = "metric") -> str:
    """A wedge's thickness: whole millimetres, or eighths of an inch."""
    if system == "metric":
        return f"{thickness_mm:.0f} mm"
    eighths = round(units.scale("mm", "us").from_stored(thickness_mm) * 8)
    whole, rest = divmod(eighths, 8)
    if not eighths:
        return "under 1/8 in"
    return " ".join(part for part in (str(whole) if whole else "", _EIGHTHS[rest]) if part) + " in"


def diameter(diameter_cm: float, system: System = "metric") -> str:
    """A trunk's thickness in cm or inches, two figures."""
    shown = units.scale("cm", system)
    return f"{figure(shown.from_stored(diameter_cm))} {shown.sign}"


def wind(heading_deg: float) -> str:
    """The name of the compass point nearest to a true bearing, of sixteen."""
    return WINDS[round(heading_deg % 360 / 22.5) % 16]


def air(air_c: float, system: System = "metric") -> str:
    """An air temperature in whole degrees."""
    shown = units.scale("°C", system)
    return f"{round(shown.from_stored(air_c))} {shown.sign}"


def mass(mass_kg: float, system: System = "metric") -> str:
    """A load in kilograms or pounds, two figures."""
    shown = units.scale("kg", system)
    value = shown.from_stored(mass_kg)
    return f"less than 1 {shown.sign}" if value < 0.95 else f"about {figure(value)} {shown.sign}"


def speed(speed_mps: float, system: System = "metric") -> str:
    """A speed in m/s or miles an hour, two figures."""
    shown = units.scale("m/s", system)
    return f"{figure(shown.from_stored(speed_mps))} {shown.sign}"


def wheels(speed_kmh: float, system: System = "metric") -> str:
    """How fast a car goes, two figures."""
    shown = units.scale("km/h", system)
    return f"{figure(shown.from_stored(speed_kmh))} {shown.sign}"


def way(length_m: float, system: System = "metric") -> str:
    """How long a way is, two figures: no map is better."""
    if system == "us":
        feet = units.feet_from_m(length_m)
        return (
            f"{wording.trimmed(feet, 2)} ft" if feet < 1000 else f"{wording.trimmed(units.miles_from_m(length_m), 2)} mi"
        )
    if length_m < 1000:
        return f"{round(length_m, -1 if length_m >= 100 else 0):.0f} m"
    return f"{wording.trimmed(length_m / 1000, 2)} km"


def figure(value: float, digits: int = 2) -> str:
    """A bare number with so many figures, never in powers of ten: 4500, 0.1, 65."""
    if not math.isfinite(value):
        return "beyond counting" if value > 0 else "not known"
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:.12f}".rstrip("0").rstrip(".") if rounded else "0"


def to_step(value: float, step: float) -> float:
    """A value to the nearest step."""
    return round(value / step) * step


def hours(value: float) -> str:
    """Hours, two figures at most."""
    if value < 1:
        return "none"
    if value < 10:
        return f"{value:.0f} hours" if round(value) != 1 else "1 hour"
    digits = 1 - math.floor(math.log10(value))
    return f"{round(value, digits):.0f} hours"


# How people write a unit, beside its sign.
_NAMES = {
    "m": ("metre", "metres", "meter", "meters"),
    "km": ("kilometre", "kilometres", "kilometer", "kilometers"),
    "cm": ("centimetre", "centimetres", "centimeter", "centimeters"),
    "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
    "ft": ("foot", "feet", "'", "′", "’"),
    "in": ("inch", "inches", '"', "″", "”", "''", "′′", "’’"),
    "yd": ("yard", "yards", "yds"),
    "mi": ("mile", "miles"),
    "kg": ("kilo", "kilos", "kilogram", "kilograms"),
    "lb": ("lbs", "pound", "pounds"),
    "km/h": ("kmh", "kph"),
    "°C": ("c", "degc"),
    "°F": ("f", "degf"),
    "acres": ("acre", "ac"),
    "km²": ("km2",),
    "mi²": ("mi2", "sq mi"),
    "s": ("sec", "second", "seconds"),
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "°": ("deg", "degree", "degrees"),
}
_BY_NAME = {sign.lower(): sign for sign in units.UNITS} | {n: sign for sign, names in _NAMES.items() for n in names}
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d*)?|[.,]\d+)"
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\d\s.,+-][^\d,+-]*?)?\.?\s*(?=[\d.,]|$)", re.ASCII)
_SMALLER = {"ft": "in", "m": "cm"}  # what may follow a unit; inches may go without their sign


def read(
    words: str, stored: str = "m", *, system: System = "metric", what: str = "length", low: float = -math.inf
) -> float:
    """What was typed, in the unit it is kept in: `3 ft 4 in`, `3'4"`, `40 in`, `1 1/2 in`, `1.2 m`, `120 cm`, `1,2`.

    low : the least that is taken. A number without a unit is in the one that the reader's system shows. Whatever
    `length`, `thickness`, `diameter`, `speed`, `mass` and `air` print of a known value is read. Raises WrongInput,
    which bears `what`.
    """
    shown = units.scale(stored, system)
    text = re.sub("[½¼¾⅓⅔⅛⅜⅝⅞]", lambda one: " " + unicodedata.normalize("NFKC", one[0]).replace("\u2044", "/"), words)
    text = re.sub(r"(?<=\d)[\u202f\u00a0](?=\d{3}(?!\d))", "", text)
    text = text.replace("−", "-").strip().lower().removeprefix("about ").lstrip()
    sign = -1.0 if text.startswith("-") else 1.0
    parts = _parts(text.lstrip("+-") if text[:1] in ("+", "-") else text)
    value = _value(parts, stored, shown, sign) if parts else None
    if value is None or not low <= value < math.inf:
        kind = units.UNITS[stored].kind if stored in units.UNITS else ""
        others = [sign for sign, unit in units.UNITS.items() if unit.kind == kind]
        ways = f", alone in {shown.sign} or with one of {', '.join(others)}" if len(others) > 1 else ""
        raise WrongInput(what, got=words[:40], needed="a number" + ways)
    return value


def _parts(text: str) -> list[tuple[float, str]] | None:
    """(number, sign of its unit or "") one after the other; None for what is none of it."""
    found: list[tuple[float, str]] = []
    at = 0
    while at < len(text):
        part = _PART.match(text, at)
        name = " ".join((part[2] or "").split()) if part else ""
        if part is None or (name and name not in _BY_NAME):
            return None
        found.append((_number(part[1]), _BY_NAME.get(name, "")))
        at = part.end()
    return found


def _number(text: str) -> float:
    whole, _, rest = text.partition(" ") if " " in text else ("0", "", text)
    if "/" not in rest:
        return float(rest.replace(",", "."))
    over, _, under = rest.strip().partition("/")
    return int(whole) + (int(over) / int(under) if int(under) else math.nan)


def _value(parts: list[tuple[float, str]], stored: str, shown: units.Scale, sign: float) -> float | None:
    first = parts[0][1]
    if len(parts) == 2 and first in _SMALLER:
        after = parts[1][1] or ("in" if first == "ft" else "")
        if after != _SMALLER[first] or parts[1][0] * units.UNITS[after].size >= units.UNITS[first].size:
            return None
        parts = [parts[0], (parts[1][0], after)]
    elif len(parts) != 1:
        return None
    if not first:
        return shown.to_stored(sign * parts[0][0])
    if stored not in units.UNITS:
        return None
    if any(units.UNITS[unit].kind != units.UNITS[stored].kind for _, unit in parts):
        return None
    return math.fsum(units.between(stored, unit).to_stored(sign * number) for number, unit in parts)


def climb(climb_m: float, system: System = "metric") -> str:
    """A climb or a height above the sea, to tens of metres or feet."""
    shown = units.scale("m", system)
    return f"{round(shown.from_stored(climb_m), -1):.0f} {shown.sign}"


def example(stored: str, system: System) -> str:
    """How a length may be typed, for a hint; "" where only a bare number is usual."""
    if stored not in ("m", "cm") or system == "metric":
        return ""
    return "a number, or such as 3 ft 4 in" if stored == "m" else "a number, or such as 1 1/2 in"
