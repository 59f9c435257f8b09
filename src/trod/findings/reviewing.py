"""What of the record was reviewed, and what detections come to when the rest is taken to be like it.

What waits for review is missing, not absent, and so are animals that nobody could name. Of every site, half of the day
and month the share of sequences that were reviewed is known; a detection there stands for one over that share (D. G.
Horvitz & D. J. Thompson (1952) Journal of the American Statistical Association 47:663–685). That is right where what was
reviewed was not picked by what is in it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from trod import sky
from trod.findings import localtime, taxa
from trod.findings.detections import Detection
from trod.findings.localtime import Floats
from trod.findings.observations import Observation, ReviewOrder, Selection, UnseenSequence

# Ours: under so many animals in a month the share of those that could be told is that of the whole record.
FEWEST_TOLD = 10
# Ours: a cell of fewer sequences takes the share of all such cells of its month, for its own is chance: of one sequence
# all was reviewed or nothing.
FEWEST_IN_CELL = 5

Half = Literal["", "day", "night"]
Missing = Literal["weighted", "left out", "as if none"]
Cell = tuple[str, date, Half]


class Reviewed:
    """How much of every site, month and half of the day was reviewed, and how much of it could be told.

    Only a site at which something waits is split in day and night.
    """

    def __init__(self, selection: Selection) -> None:
        self._selection = selection
        self._light: Half = "" if selection.filter.light == "any" else selection.filter.light
        self._waiting = {one.site for one in selection.unseen}
        # Without a place nobody knows which half of the day it was.
        halved = self._waiting if selection.reserve.place is not None else set()
        self._split = halved if self._light == "" else {*selection.sites}
        self._orders: dict[Cell, ReviewOrder] = {}
        self._counts = self._counted()
        self._by_month: dict[date, tuple[int, int]] = {}
        self._small: dict[tuple[date, Half], tuple[int, int]] = {}
        for (site, month, half), (seen, waits) in self._counts.items():
            had = self._by_month.get(month, (0, 0))
            self._by_month[month] = (had[0] + seen, had[1] + waits)
            if site in self._waiting and seen + waits < FEWEST_IN_CELL:
                had = self._small.get((month, half), (0, 0))
                self._small[month, half] = (had[0] + seen, had[1] + waits)
        self._clear: dict[date, Counter[frozenset[str]]] = {}
        self._unclear: Counter[date] = Counter()
        self._sort_by_clearness()
        self._told: dict[frozenset[str], dict[date, float]] = {}

    def complete(self, of: frozenset[str] | None = None) -> bool:
        """Whether nothing waits, and of every animal it could be told whether it was one asked for."""
        self.told(date(1970, 1, 1), of)
        return not self._selection.unseen and not self._told[self._asked(of)]

    @property
    def order(self) -> ReviewOrder:
        """How sequences came up for review where only some of a cell were: the least that is known of any such cell."""
        partly = {self._orders[cell] for cell, (seen, waits) in self._counts.items() if seen and waits}
        for least in ("content", "unknown"):
            if least in partly:
                return least
        return "time"

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

    def share(
        self, site: str, month: date, half: Half, missing: Missing, of: frozenset[str] | None = None
    ) -> tuple[float, bool]:
        """The share of a cell that was reviewed and could be told, and whether what was reviewed was picked.

        of : the kinds asked for; without them those of the filter.
        """
        seen, waiting = self._of(site, month, half)
        told = self.told(month, of)
        if waiting == 0:
            return told, False
        if missing == "left out":
            return 0.0, False
        if missing == "as if none":
            return told, False
        return told * seen / (seen + waiting), self._orders.get((site, month, half), "unknown") == "content"

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

    def stands_for(self, site: str, month: date, half: Half, of: frozenset[str] | None = None) -> float:
        """How many detections one that was found stands for: one over the share of its cell.

        A cell of a few sequences takes the share of all such cells of its month: of one sequence all was reviewed or
        nothing, so those found would stand for themselves alone. A half of which nothing was reviewed is joined to the
        other.
        """
        told = self.told(month, of)
        cells = {h: self._enough(site, month, h) for h in self.halves_of(site)}
        seen, waiting = cells[half]
        if any(cell[0] == 0 and cell[1] for cell in cells.values()):
            seen, waiting = (sum(cell[n] for cell in cells.values()) for n in (0, 1))
        share = told * (seen / (seen + waiting) if waiting else 1.0)
        return 1 / share if share > 0 else 1.0

    def _enough(self, site: str, month: date, half: Half) -> tuple[int, int]:
        """(reviewed, waiting) of a cell, or of the few-sequence cells of its month, or of all of it."""
        own = self._counts.get((site, month, half), (0, 0))
        if site not in self._waiting or sum(own) >= FEWEST_IN_CELL or month not in self._by_month:
            return own
        small = self._small.get((month, half), (0, 0))
        return small if sum(small) >= FEWEST_IN_CELL else self._by_month[month]

    def nothing_reviewed(self, site: str, month: date) -> bool:
        """Whether a site's month tells nothing: all of it waits, and what waits is more than chance leaves."""
        cells = [self._enough(site, month, half) for half in self.halves_of(site)]
        return sum(seen for seen, _ in cells) == 0 and sum(waiting for _, waiting in cells) > 0

    @property
    def cells(self) -> tuple[Cell, ...]:
        """Those in which something was recorded, where anything waits at all."""
        return tuple(self._counts)

    @property
    def months(self) -> tuple[date, ...]:
        """Those in which something waits, or was reviewed beside it."""
        return tuple(self._by_month)

    def whole(self, site: str, month: date, of: frozenset[str] | None = None) -> float:
        """The share of a site's month that was reviewed and could be told, its halves together."""
        parts = [self._counts.get((site, month, half), (0, 0)) for half in self.halves_of(site)]
        seen, waiting = sum(part[0] for part in parts), sum(part[1] for part in parts)
        if seen + waiting == 0:
            seen, waiting = self._by_month.get(month, (0, 0))
        return self.told(month, of) * (seen / (seen + waiting) if waiting else 1.0)

    def told(self, month: date, of: frozenset[str] | None = None) -> float:
        """The share of a month's sequences with an animal in which it could be told whether it was one asked for.

        The others may hold it. Taken over all sites, for one site's month has too few.
        """
        asked = self._asked(of)
        if asked not in self._told:
            self._told[asked] = self._tellable(asked)
        return self._told[asked].get(month, 1.0)

    def _asked(self, of: frozenset[str] | None) -> frozenset[str]:
        return frozenset(self._selection.filter.species) if of is None else of

    def _up(self, utc_s: Sequence[float]) -> list[bool]:
        place = self._selection.reserve.place
        if place is None:
            return [True] * len(utc_s)
        heights, _ = sky.sun_position(np.asarray(utc_s, dtype=float), latitude_deg=place[0], longitude_deg=place[1])
        above: list[bool] = (heights >= sky.RISE_SET_ELEVATION_DEG).tolist()
        return above

    def _counted(self) -> dict[Cell, tuple[int, int]]:
        """(reviewed, waiting) sequences by site, month and half; how each cell's came up is noted on the way."""
        selection = self._selection
        if not selection.unseen:
            return {}
        reviewed = {o.sequence: o for o in selection.every}.values()
        every: tuple[Observation | UnseenSequence, ...] = (*reviewed, *selection.unseen)
        instants = [one.utc_s for one in every]
        # Alike by site, month, sun and how they came up: a million sequences are a few thousand kinds of them.
        alike = Counter(
            zip(
                (one.site for one in every),
                localtime.months_of(instants, selection.reserve.zone),
                self._up(instants),
                (*(o.reached for o in reviewed), *(None for _ in selection.unseen)),
                strict=True,
            )
        )
        out: dict[Cell, tuple[int, int]] = {}
        usual = selection.evidence.review_order
        for (site, month, is_up, reached), number in alike.items():
            half: Half = ("day" if is_up else "night") if site in self._split else ""
            if self._light and half != self._light:
                continue
            cell = (site, month, half)
            seen, waiting = out.get(cell, (0, 0))
            if reached is None:
                out[cell] = (seen, waiting + number)
                continue
            out[cell] = (seen + number, waiting)
            order, had = reached or usual, self._orders.get(cell, "time")
            if order == "content" or (order == "unknown" and had == "time"):
                self._orders[cell] = order
            else:
                self._orders.setdefault(cell, "time")
        return out

    def _sort_by_clearness(self) -> None:
        """Sequences with an animal by month: those in which some could not be named at all, and the kinds of the others.

        What cannot be told for certain to be no animal is unclear too.
        """
        selection = self._selection
        unclear = {o.sequence: o.utc_s for o in selection.others if o.what in ("unknown", "animal")}
        kinds: dict[str, set[str]] = {}
        at: dict[str, float] = {}
        wide = {kind.key for kind in selection.evidence.taxa if kind.rank != "species"}
        if not unclear and not wide:
            return
        for o in selection.every:
            if o.what == "animal" and o.species and o.sequence not in unclear:
                kinds.setdefault(o.sequence, set()).add(o.species)
                at[o.sequence] = o.utc_s
        zone = selection.reserve.zone
        self._unclear.update(localtime.months_of(list(unclear.values()), zone))
        for sequence, month in zip(at, localtime.months_of(list(at.values()), zone), strict=True):
            self._clear.setdefault(month, Counter())[frozenset(kinds[sequence])] += 1

    def _tellable(self, of: frozenset[str]) -> dict[date, float]:
        wider = taxa.may_be(self._selection.evidence.taxa, of) if of else set()
        counts: dict[date, tuple[int, int]] = {}
        for month in {*self._clear, *self._unclear}:
            vague = sum(number for kinds, number in self._clear.get(month, Counter()).items() if kinds & wider)
            every = sum(self._clear.get(month, Counter()).values())
            counts[month] = (every - vague, vague + self._unclear[month])
        told, not_told = (sum(part[n] for part in counts.values()) for n in (0, 1))
        if not not_told:
            return {}
        whole = told / (told + not_told)
        return {month: a / (a + b) if a + b >= FEWEST_TOLD else whole for month, (a, b) in counts.items()}


@dataclass(frozen=True, kw_only=True)
class Carried:
    """Detections carried up by what of their place and time was reviewed.

    weights : (found,) one over the share. left_out : sites' months of which nothing was reviewed; they are no effort.
    """

    weights: Floats
    left_out: frozenset[tuple[str, date]]

    @property
    def largest(self) -> float:
        """The largest weight; 1 without any."""
        return float(self.weights.max()) if len(self.weights) else 1.0

    @property
    def single(self) -> float:
        """What single detections scatter when they are carried so: Σw²/Σw."""
        return float(np.sum(self.weights**2) / np.sum(self.weights)) if len(self.weights) else 1.0


def carried(
    selection: Selection,
    found: Sequence[Detection],
    reviewed: Reviewed,
    of: frozenset[str] | None = None,
    watched: Iterable[tuple[str, date]] = (),
) -> Carried:
    """The weights of these detections. of : the kinds asked for. watched : sites' months with effort."""
    months = localtime.months_of([d.utc_s for d in found], selection.reserve.zone)
    halves = reviewed.halves([d.site for d in found], [d.utc_s for d in found])
    cells: list[Cell] = list(zip((one.site for one in found), months, halves, strict=True))
    weight = {cell: reviewed.stands_for(*cell, of) for cell in set(cells)}
    return Carried(
        weights=np.array([weight[cell] for cell in cells], dtype=float),
        left_out=frozenset(place for place in watched if reviewed.nothing_reviewed(*place)),
    )


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
    seen: Counter[Cell] = Counter(zip((one.site for one in found), months, halves, strict=True))
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
