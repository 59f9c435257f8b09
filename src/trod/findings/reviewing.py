"""What of the record was reviewed, and what detections come to when the rest is taken to be like it.

What waits for review is missing, not absent, and so are animals that nobody could name. Of every site, half of the day
and month the share of sequences that were reviewed is known; a detection there stands for one over that share. That is
right where what was reviewed was not picked by what is in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

import numpy as np

from trod import sky
from trod.findings import localtime
from trod.findings.detections import Detection
from trod.findings.observations import Selection

# Ours: under so many animals in a month the share of those that could be told is that of the whole record.
FEWEST_TOLD = 10

Half = Literal["", "day", "night"]
Missing = Literal["weighted", "left out", "as if none"]


class Reviewed:
    """How much of every site, month and half of the day was reviewed, and how much of it could be told.

    Only a site at which something waits is split in day and night.
    """

    def __init__(self, selection: Selection) -> None:
        self._selection = selection
        self._order = selection.evidence.review_order
        self._light: Half = "" if selection.filter.light == "any" else selection.filter.light
        waiting = {one.site for one in selection.unseen}
        self._split = waiting if self._light == "" else {*selection.sites}
        self._counts = self._counted()
        self._by_month: dict[date, tuple[int, int]] = {}
        for (_, month, _), (seen, waits) in self._counts.items():
            had = self._by_month.get(month, (0, 0))
            self._by_month[month] = (had[0] + seen, had[1] + waits)
        self._told = self._tellable()

    def halves_of(self, site: str) -> tuple[Half, ...]:
        """The parts of the day that are units of their own at a site."""
        if self._light:
            return (self._light,)
        return ("day", "night") if site in self._split else ("",)

    def halves(self, sites: Sequence[str], utc_s: Sequence[float]) -> list[Half]:
        """Which of them each instant belongs to: by whether the sun is up."""
        if not utc_s:
            return []
        if self._light:
            return [self._light] * len(utc_s)
        if not self._split:
            return [""] * len(utc_s)
        up = self._up(utc_s)
        return [
            ("day" if is_up else "night") if site in self._split else "" for site, is_up in zip(sites, up, strict=True)
        ]

    def share(self, site: str, month: date, half: Half, missing: Missing) -> tuple[float, bool]:
        """The share of a cell that was reviewed and could be told, and whether what was reviewed was picked."""
        seen, waiting = self._of(site, month, half)
        told = self._told.get(month, 1.0)
        if waiting == 0:
            return told, False
        if missing == "left out":
            return 0.0, False
        if missing == "as if none":
            return told, False
        return told * seen / (seen + waiting), self._order == "content"

    def _of(self, site: str, month: date, half: Half) -> tuple[int, int]:
        """(reviewed, waiting) of a cell. A cell in which nothing was recorded is told by what is about it.

        It holds none for certain; but to keep it whole, where cells that hold something count in part or not at
        all, would choose cells by what is in them. So it takes the share of its site's month, else of all sites'.
        """
        own = self._counts.get((site, month, half), (0, 0))
        if own == (0, 0) and month in self._by_month:
            halves = [self._counts.get((site, month, other), (0, 0)) for other in self.halves_of(site)]
            own = (sum(seen for seen, _ in halves), sum(waiting for _, waiting in halves))
            return own if own != (0, 0) else self._by_month[month]
        return own

    @property
    def cells(self) -> tuple[tuple[str, date, Half], ...]:
        """Those in which something was recorded, where anything waits at all."""
        return tuple(self._counts)

    @property
    def months(self) -> tuple[date, ...]:
        """Those in which something waits, or was reviewed beside it."""
        return tuple(self._by_month)

    def whole(self, site: str, month: date) -> float:
        """The share of a site's month that was reviewed and could be told, its halves together."""
        parts = [self._counts.get((site, month, half), (0, 0)) for half in self.halves_of(site)]
        seen, waiting = sum(part[0] for part in parts), sum(part[1] for part in parts)
        if seen + waiting == 0:
            seen, waiting = self._by_month.get(month, (0, 0))
        return self._told.get(month, 1.0) * (seen / (seen + waiting) if waiting else 1.0)

    def _up(self, utc_s: Sequence[float]) -> list[bool]:
        reserve = self._selection.reserve
        heights, _ = sky.sun_position(
            np.asarray(utc_s, dtype=float), latitude_deg=reserve.latitude_deg, longitude_deg=reserve.longitude_deg
        )
        return [bool(up) for up in heights >= sky.RISE_SET_ELEVATION_DEG]

    def _counted(self) -> dict[tuple[str, date, Half], tuple[int, int]]:
        """(reviewed, waiting) sequences by site, month and half."""
        selection = self._selection
        if not selection.unseen:
            return {}
        reviewed = {o.sequence: (o.site, o.utc_s) for o in selection.every}
        places = [*reviewed.values(), *((one.site, one.utc_s) for one in selection.unseen)]
        months = localtime.months_of([utc_s for _, utc_s in places], selection.reserve.zone)
        up = self._up([utc_s for _, utc_s in places])
        out: dict[tuple[str, date, Half], tuple[int, int]] = {}
        for n, ((site, _), month, is_up) in enumerate(zip(places, months, up, strict=True)):
            half: Half = ("day" if is_up else "night") if site in self._split else ""
            if self._light and half != self._light:
                continue
            seen, waiting = out.get((site, month, half), (0, 0))
            out[site, month, half] = (seen + 1, waiting) if n < len(reviewed) else (seen, waiting + 1)
        return out

    def _tellable(self) -> dict[date, float]:
        """Per month, the share of sequences with an animal in which it could be told what it was.

        The others may hold the animal asked for. Taken over all sites, for one site's month has too few.
        """
        selection = self._selection
        unclear = {
            o.sequence: o.utc_s
            for o in (*selection.others, *selection.broader)
            if o.what == "unknown" or o.what == "animal"
        }
        told = {
            o.sequence: o.utc_s
            for o in selection.every
            if o.what == "animal" and o.species and o.sequence not in unclear
        }
        if not unclear:
            return {}
        whole = len(told) / (len(told) + len(unclear))
        counts: dict[date, list[int]] = {}
        for n, sequences in enumerate((told, unclear)):
            for month in localtime.months_of(list(sequences.values()), selection.reserve.zone):
                counts.setdefault(month, [0, 0])[n] += 1
        return {
            month: (told_here / (told_here + not_told) if told_here + not_told >= FEWEST_TOLD else whole)
            for month, (told_here, not_told) in counts.items()
        }


def reviewed_share(
    selection: Selection, found: Sequence[Detection], reviewed: Reviewed
) -> dict[tuple[str, date], float]:
    """Of every site and month, the share of its effort that stands behind the detections found.

    Detections are carried up by their half's reviewed share, Ŷ = Σ y/f, and the share is y/Ŷ; with none seen, the
    share of all sequences. Where nothing of a half was reviewed, both halves are taken together.
    """
    zone = selection.reserve.zone
    months = localtime.months_of([d.utc_s for d in found], zone)
    halves = reviewed.halves([d.site for d in found], [d.utc_s for d in found])
    seen: dict[tuple[str, date, Half], int] = {}
    for one, month, half in zip(found, months, halves, strict=True):
        seen[one.site, month, half] = seen.get((one.site, month, half), 0) + 1
    out = {}
    bare = {(site, month) for site in selection.sites for month in reviewed.months}
    for site, month in sorted({(site, month) for site, month, _ in (*seen, *reviewed.cells)} | bare):
        counts = {half: seen.get((site, month, half), 0) for half in reviewed.halves_of(site)}
        share = {half: reviewed.share(site, month, half, "weighted")[0] for half in counts}
        if min(share.values()) <= 0:
            share = dict.fromkeys(share, reviewed.whole(site, month))
        total = sum(counts.values())
        if total and min(share.values()) > 0:
            out[site, month] = total / sum(counts[half] / share[half] for half in counts)
        else:
            out[site, month] = reviewed.whole(site, month)
    return out
