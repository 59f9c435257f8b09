"""Places and lines as they may leave, in few words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trod.leaving import FitLine, FitPlace, fit_line, fit_place


def at(latitude_deg: float, longitude_deg: float, **more: Any) -> FitPlace:
    """A place."""
    return fit_place(latitude_deg=latitude_deg, longitude_deg=longitude_deg, **more)


def line(*points: Sequence[float]) -> FitLine:
    """A line that leads to no hidden place."""
    made = fit_line([(lat, lon) for lat, lon in points])
    assert made is not None
    return made
