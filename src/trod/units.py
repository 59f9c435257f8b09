"""The few conversions Trod needs. Numbers in, numbers out; SI inside, US customary at the edge.

The international foot is 0.3048 m and the pound 0.45359237 kg, both exact
(United States National Bureau of Standards, Federal Register 24 FR 5348, 1959-07-01).
"""

from __future__ import annotations

FOOT_M = 0.3048
INCH_M = FOOT_M / 12
MILE_M = 5280 * FOOT_M
YARD_M = 3 * FOOT_M
POUND_KG = 0.45359237


def feet_from_m(length_m: float) -> float:
    """A length in metres, in feet."""
    return length_m / FOOT_M


def m_from_feet(length_ft: float) -> float:
    """A length in feet, in metres."""
    return length_ft * FOOT_M


def miles_from_m(length_m: float) -> float:
    """A length in metres, in statute miles."""
    return length_m / MILE_M


def fahrenheit_from_c(temperature_c: float) -> float:
    """A temperature in °C, in °F."""
    return temperature_c * 9 / 5 + 32


def c_from_fahrenheit(temperature_f: float) -> float:
    """A temperature in °F, in °C."""
    return (temperature_f - 32) * 5 / 9
