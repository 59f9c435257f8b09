"""Line-ups of cameras: what was watched by the same cameras in the same way, month by month.

A second camera, another model or setting, or a camera that was moved sees differently. So a site is one unit for each
line-up that watched it, each with a level of its own: a better camera does not look like more animals. Two cameras of
one line-up count the site's day once.

What waits for review is missing, not absent. The effort of a cell is taken by the share of its sequences that were
reviewed; day and night apart, for they are seldom reviewed at one pace. A cell of which nothing was reviewed was not
watched. That is right when what was reviewed was not picked by what is in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from trod.findings import localtime
from trod.findings.detections import Detection
from trod.findings.effort import DAY_S, months_of_span
from trod.findings.observations import Deployment, Selection
from trod.findings.reviewing import Half, Missing, Reviewed, reviewed_share
from trod.findings.yearly import FEWEST_DAYS, Record
from trod.findings.yearly_fit import Cells

# Ours: a camera hung again within so much of where it looked before looks at the same place.
SAME_HEADING_DEG = 30.0
SAME_HEIGHT_M = 0.3


@dataclass(frozen=True, kw_only=True)
class SetUp:
    """How one deployment sees: what camera it is, how it is set, where it looks. Unknown figures are None."""

    site: str
    model: str
    settings: str = ""
    heading_deg: float | None = None
    height_m: float | None = None


def names(set_ups: Sequence[SetUp]) -> tuple[str, ...]:
    """A name for how each deployment sees, the same for all of a site that see alike.

    In the order given (by time): a camera of the same model and settings that looks within 30° and hangs within
    0.3 m of the first of a name bears that name; what is not written down counts as unmoved.
    """
    known: dict[tuple[str, str, str], list[SetUp]] = {}
    out = []
    for one in set_ups:
        kinds = known.setdefault((one.site, one.model, one.settings), [])
        at = next((n for n, first in enumerate(kinds) if _unmoved(first, one)), len(kinds))
        if at == len(kinds):
            kinds.append(one)
        out.append(" ".join(part for part in (one.model, one.settings, str(at + 1) if at else "") if part))
    return tuple(out)


def _unmoved(first: SetUp, one: SetUp) -> bool:
    if first.heading_deg is not None and one.heading_deg is not None:
        turned = abs((first.heading_deg - one.heading_deg + 180) % 360 - 180)
        if turned > SAME_HEADING_DEG:
            return False
    if first.height_m is not None and one.height_m is not None:
        return abs(first.height_m - one.height_m) <= SAME_HEIGHT_M + 1e-9
    return True


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One site as one line-up watched it, the whole day or half of it."""

    site: str
    line_up: tuple[str, ...]
    half: Half = ""


@dataclass(frozen=True, kw_only=True)
class Watched:
    """A selection as cells.

    record : of the cells; None when nothing was watched. units : by their number. first : the month of month 0.
    unreviewed : sequences not reviewed. shares : (cells,) the share of each that was reviewed, and told.
    unwatched : detections at an instant when no camera counts as watching, or in a cell of no effort.
    """

    record: Record | None
    units: tuple[Unit, ...]
    first: date | None
    unreviewed: int
    shares: np.ndarray
    unwatched: int


def _line_up(deployment: Deployment) -> str:
    return deployment.line_up or deployment.camera


def segments(selection: Selection) -> dict[str, list[tuple[float, float, tuple[str, ...]]]]:
    """Per site, its watched time cut where its line-up changes: (from, to, line-up), in order. [UTC unix s]"""
    how = {f"{d.site}/{d.slug}": _line_up(d) for d in selection.evidence.deployments}
    turns: dict[str, list[tuple[float, int, str]]] = {}
    for key, (site, spans) in selection.watched.items():
        for start, end in spans:
            turns.setdefault(site, []).extend([(start, 1, how.get(key, "")), (end, -1, how.get(key, ""))])
    out: dict[str, list[tuple[float, float, tuple[str, ...]]]] = {}
    for site, own in turns.items():
        watching: dict[str, int] = {}
        since = -np.inf
        pieces: list[tuple[float, float, tuple[str, ...]]] = []
        for at, step, name in sorted(own):
            now = tuple(name for name, number in sorted(watching.items()) for _ in range(number))
            if now and at > since:
                pieces.append((since, at, now))
            watching[name] = watching.get(name, 0) + step
            since = at
        out[site] = pieces
    return out


def watched(
    selection: Selection, found: Sequence[Detection], reviewed: Reviewed, missing: Missing = "weighted"
) -> Watched:
    """The selection as cells of unit and month.

    missing : what is made of sequences not reviewed. weighted: the effort of a cell is taken by the share that was
    reviewed. left out: a cell with any is not watched. as if none: they count as holding nothing (only to show a bound).
    """
    zone = selection.reserve.zone
    pieces = segments(selection)
    days: dict[tuple[str, tuple[str, ...], date], float] = {}
    for site, own in pieces.items():
        for start, end, line_up in own:
            for month, a, b in months_of_span(start, end, zone):
                key = (site, line_up, month)
                days[key] = days.get(key, 0.0) + (b - a) / DAY_S
    seen: dict[tuple[str, tuple[str, ...], date, Half], int] = {}
    unwatched = 0
    months = localtime.months_of([d.utc_s for d in found], zone)
    halves = reviewed.halves([d.site for d in found], [d.utc_s for d in found])
    at = _at(pieces)
    for one, month, half in zip(found, months, halves, strict=True):
        watching = at(one.site, one.utc_s)
        if watching is None:
            unwatched += 1
            continue
        cell = (one.site, watching, month, half)
        seen[cell] = seen.get(cell, 0) + 1
    if not days:
        return Watched(record=None, units=(), first=None, unreviewed=len(selection.unseen),
                       shares=np.zeros(0), unwatched=unwatched)  # fmt: skip
    first, last = min(key[2] for key in days), max(key[2] for key in days)
    number = {month: n for n, month in enumerate(localtime.months_between(first, last))}
    units: dict[Unit, int] = {}
    rows: list[tuple[int, int, float, float, float, bool]] = []
    for site, line_up, month in sorted(days):
        for half in reviewed.halves_of(site):
            share, picked = reviewed.share(site, month, half, missing)
            effort = days[site, line_up, month] * share
            count = seen.pop((site, line_up, month, half), 0)
            if effort < FEWEST_DAYS:
                unwatched += count
                continue
            unit = units.setdefault(Unit(site=site, line_up=line_up, half=half), len(units))
            rows.append((unit, number[month], effort, float(count), share, picked))
    unwatched += sum(seen.values())
    record = None
    sites = {name: n for n, name in enumerate(sorted({unit.site for unit in units}))}
    if rows:
        columns = list(zip(*rows, strict=True))
        record = Record(
            cells=Cells(
                unit=np.array(columns[0], dtype=np.int64),
                month=np.array(columns[1], dtype=np.int64),
                days=np.array(columns[2], dtype=float),
                seen=np.array(columns[3], dtype=float),
                months=len(number),
                calendar=first.month - 1,
            ),
            site=tuple(sites[unit.site] for unit in units),
            picked=np.array(columns[5], dtype=bool),
        )
    return Watched(
        record=record,
        units=tuple(units),
        first=first,
        unreviewed=len(selection.unseen),
        shares=np.array([row[4] for row in rows]),
        unwatched=unwatched,
    )


def _at(
    pieces: Mapping[str, Sequence[tuple[float, float, tuple[str, ...]]]],
) -> Callable[[str, float], tuple[str, ...] | None]:
    """Which line-up watched a site at an instant; None when none did. The end of a watched span is inside."""
    starts = {site: np.array([piece[0] for piece in own]) for site, own in pieces.items()}

    def answer(site: str, utc_s: float) -> tuple[str, ...] | None:
        if site not in starts:
            return None
        n = int(np.searchsorted(starts[site], utc_s, side="right")) - 1
        own = pieces[site]
        return own[n][2] if n >= 0 and utc_s <= own[n][1] else None

    return answer


def parts(
    selection: Selection,
    found: Sequence[Detection],
    reviewed: Reviewed,
    key: Callable[[str, tuple[str, ...], date], Any],
) -> dict[Any, tuple[float, float]]:
    """(detections, reviewed site-days) by any key of site, line-up and month; what has none is left out.

    A detection at an instant when no camera counts as watching takes no part.
    """
    zone = selection.reserve.zone
    shares = reviewed_share(selection, found, reviewed)
    pieces = segments(selection)
    out: dict[Any, tuple[float, float]] = {}
    for site, own in sorted(pieces.items()):
        for start, end, line_up in own:
            for month, a, b in months_of_span(start, end, zone):
                part = key(site, line_up, month)
                if part is not None:
                    seen, days = out.get(part, (0.0, 0.0))
                    out[part] = (seen, days + (b - a) / DAY_S * shares.get((site, month), 1.0))
    at = _at(pieces)
    for one, month in zip(found, localtime.months_of([d.utc_s for d in found], zone), strict=True):
        watching = at(one.site, one.utc_s)
        part = key(one.site, watching, month) if watching is not None else None
        if part is not None and part in out:
            seen, days = out[part]
            out[part] = (seen + 1, days)
    return out
