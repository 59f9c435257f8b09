"""How far a camera's clock was off at a visit, and that in words."""

from __future__ import annotations

from datetime import timedelta

from trod.catalogue.models import Visit


def clock_error_s(visit: Visit, utc_offset_min: int) -> float | None:
    """How far the camera's clock was ahead of the true time at a visit; None when nobody read it. [s]"""
    if visit.clock_shown is None or visit.clock_true is None:
        return None
    return (visit.clock_shown - visit.clock_true - timedelta(minutes=utc_offset_min)).total_seconds()


def how_far(error_s: float) -> str:
    """A clock's error in words: '3 min fast'."""
    size = abs(error_s)
    words = (
        f"{size:.0f} s"
        if size < 120
        else f"{size / 60:.0f} min"
        if size < 2 * 3600
        else f"{size / 3600:.1f} h"
        if size < 2 * 86400
        else f"{size / 86400:.0f} days"
        if size < 730 * 86400
        else f"{size / 86400 / 365.25:.1f} years"
    )
    return f"{words} {'fast' if error_s > 0 else 'slow'}"
