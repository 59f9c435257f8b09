"""Numbers in words, rounded no finer than they deserve: three significant digits at most. Full precision is in files."""

from __future__ import annotations

import math


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


def between(low: float, high: float) -> str:
    """An interval's two ends, '0.79 to 1.88'; a low end of no size beside the high one is 'nearly 0'."""
    return f"{'nearly 0' if 0 < low < 1e-3 * high else number(low)} to {number(high)}"


def bytes_si(size: float) -> str:
    """A size in SI units: '4.1 MB'."""
    value = float(size)
    for unit in ("B", "kB", "MB", "GB"):
        if value < 1000:
            return f"{value:.0f} {unit}" if unit == "B" else f"{value:.1f} {unit}"
        value /= 1000
    return f"{value:.1f} TB"
