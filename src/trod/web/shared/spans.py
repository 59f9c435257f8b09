"""Spans of time to choose from on a page."""

from __future__ import annotations

from datetime import date, timedelta

from trod.findings.seasons import season_of


def seasons(until: date, latitude_deg: float | None, how_many: int) -> list[tuple[str, date, date]]:
    """The latest seasons that have begun by a day, newest first."""
    out = []
    for _ in range(how_many):
        one = season_of(until, latitude_deg)
        out.append((one.name, one.first, one.last))
        until = one.first - timedelta(days=1)
    return out
