"""Lengths, bearings and hours as a person says them: two figures, metric or US, never more than is known."""

from __future__ import annotations

import math

from trod import units
from trod.units import System as System  # for those who import it from here

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
