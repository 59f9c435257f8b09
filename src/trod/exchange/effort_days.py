"""Effort by day as a table: of every camera and local day the hours watched, lost, and of which nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from trod.exchange import tables
from trod.exchange.folder import Table, columns
from trod.findings.watching import Day

COLUMNS = columns(
    ("day", "local day of the reserve"),
    ("site", "key of the site"),
    ("deployment", "key of the deployment"),
    ("camera", "the camera"),
    ("watched_h", "watched: between two signs of life, or a person says so", "h"),
    ("open_h", "nobody knows whether it watched", "h"),
    ("lost_h", "did not watch", "h"),
    ("counted_h", "counts as effort: watched, and of the open time what the camera's rhythm lets pass unseen", "h"),
    ("reasons", "why it was not watched, or is open"),
)


def table(rows: Iterable[tuple[str, str, str, Day]]) -> Table:
    """rows : (site, deployment, camera, day)."""
    return Table(
        name="effort_by_day",
        what="Of every camera and local day how long it watched, how long it did not, and how long nobody knows.",
        columns=COLUMNS,
        rows=(row(*one) for one in rows),
    )


def row(site: str, deployment: str, camera: str, day: Day) -> Sequence[Any]:
    """One line of the table."""
    hours = (round(of, 3) for of in (day.watched_h, day.open_h, day.lost_h, day.counted_h))
    return (day.day.isoformat(), site, deployment, camera, *hours, "; ".join(day.reasons))


def text(rows: Iterable[tuple[str, str, str, Day]]) -> str:
    """The table as CSV."""
    return tables.text([column.name for column in COLUMNS], (row(*one) for one in rows))
