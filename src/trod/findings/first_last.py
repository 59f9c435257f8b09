"""The first and the last detection of each kind in each season or year, and what is known of the days beyond them.

A first detection is no arrival: where nobody watched before it, or where what was recorded waits for review, the animal
may have been there already. So beside each day stands how long was watched without it (only time that is proven, on
days of which nothing waits or could not be named), what such a silence allows for, and what may have been it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

import numpy as np

from trod.findings import asking, effort, localtime, runs, taxa
from trod.findings.detections import Detection
from trod.findings.effort import DAY_S, Effort
from trod.findings.observations import Evidence, Filter, Selection, Span, cut, without
from trod.findings.seasons import Each, Stretch, stretches

LEVEL = 0.95
_EPOCH = date(1970, 1, 1).toordinal()
# Ours: of less watched time no limit is told.
FEWEST_DAYS = 1.0
# Ours: of 24 hours; for a camera pauses at a visit, and a day of changed clocks may have 23.
WHOLE_DAY = 0.95


@dataclass(frozen=True, kw_only=True)
class Edge:
    """The first (or last) detection in a stretch. "Beyond" is before the first, after the last, within the stretch.

    days_beyond : site-days beyond it known to have been watched and reviewed, at all sites asked for.
    most_per_100 : detections per 100 such site-days that so long a silence still allows (95 %), when they come in runs
    as they do in the whole record; None under a day. The time up to a first run has the limit of time with none.
    without : at its own site, the nearest whole day beyond it, in the stretch or outside, that was watched and reviewed
    without it; None when there is none.
    maybe : sequences beyond it that wait for review or could not be named, so may be it; maybe_on : the day of the
    outermost.
    outside : the nearest detection beyond the stretch; None when there is none on record.
    """

    detection: Detection
    day: date
    days_beyond: float
    most_per_100: float | None
    without: date | None
    maybe: int
    maybe_on: date | None
    outside: date | None


@dataclass(frozen=True, kw_only=True)
class FirstLast:
    """One kind in one stretch: all its detections, in time order, and both ends."""

    species: str
    stretch: Stretch
    found: tuple[Detection, ...]
    first: Edge
    last: Edge


@dataclass(frozen=True, kw_only=True)
class Ends:
    """The answer as facts. table : newest stretch first, then by first day. days : site-days that count, by stretch."""

    selection: Selection
    found: tuple[Detection, ...]
    worked: Effort
    each: Each
    stretches: tuple[Stretch, ...]
    table: tuple[FirstLast, ...]
    days: Mapping[str, float]


def first_last(evidence: Evidence, asked: Filter, each: Each = "season") -> Ends:
    """First and last detections by season or year, each kind for itself; the light asked for takes no part.

    A stretch is cut to the days asked for. Raises NotEnoughEvidence when no camera watched.
    """
    asked = replace(asked, light="any")
    selection, found, worked = asking.prepare(evidence, asked, counts_do=True)
    assert selection.first is not None and selection.last is not None
    began = min([selection.first, *(_day(selection, d.utc_s) for d in found[:1])])
    ended = max([selection.last, *(_day(selection, d.utc_s) for d in found[-1:])])
    own = stretches(each, asked.first or began, asked.last or ended, evidence.reserve.latitude_deg)
    # What lies beyond a stretch is looked at too, whatever days were asked for.
    wide, whole = selection, found
    if asked.first or asked.last:
        wide, whole, _ = asking.prepare(evidence, replace(asked, first=None, last=None), counts_do=True)
    watch = _Watch(selection, wide)
    kinds: dict[str, list[Detection]] = {}
    for one in sorted(whole, key=lambda d: (d.species, d.utc_s)):
        kinds.setdefault(one.species, []).append(one)
    table = []
    for stretch in own:
        for species, every in kinds.items():
            row = _row(watch, stretch, species, every)
            if row is not None:
                table.append(row)
    table.sort(key=lambda r: (-r.stretch.first.toordinal(), r.first.detection.utc_s, r.species))
    return Ends(
        selection=selection,
        found=found,
        worked=worked,
        each=each,
        stretches=own,
        table=tuple(table),
        days={stretch.key: watch.counted(stretch) for stretch in own},
    )


class _Watch:
    """When each site is known to have been watched with all that was recorded named; and what was not named."""

    def __init__(self, selection: Selection, wide: Selection) -> None:
        """selection : as asked for. wide : the same, of all days."""
        self.selection = selection
        self.zone = selection.reserve.zone
        self._counted = effort.joined_by_site(wide.watched.values())
        self._proven = effort.proven_by_site(wide)
        unnamed = [
            (o.site, o.utc_s) for o in wide.others if o.what in ("unknown", "animal")
        ] + [(u.site, u.utc_s) for u in wide.unseen]  # fmt: skip
        self._unclear = sorted({*unnamed}, key=lambda one: one[1])
        self._clear = {site: self._named(spans, site, self._unclear) for site, spans in self._proven.items()}
        self._every = wide.every
        self._taxa = selection.evidence.taxa
        self._of: dict[str, tuple[list[tuple[str, float]], Mapping[str, tuple[Span, ...]]]] = {}
        self._allowed: dict[str, float] = {}
        self._with: dict[str, dict[str, set[int]]] = {}
        self._wide = wide
        self._whole: dict[tuple[Span, ...], list[int]] = {}

    def limits(self, stretch: Stretch) -> Span:
        """A stretch as instants, cut to what was asked for."""
        asked = self.selection.filter
        first = max(stretch.first, asked.first) if asked.first else stretch.first
        last = min(stretch.last, asked.last) if asked.last else stretch.last
        return localtime.day_start_s(first, self.zone), localtime.day_after_start_s(last, self.zone)

    def counted(self, stretch: Stretch) -> float:
        """Site-days of a stretch that count as watched."""
        return sum(_length(cut(spans, *self.limits(stretch))) for spans in self._counted.values()) / DAY_S

    def of(self, species: str) -> tuple[list[tuple[str, float]], Mapping[str, tuple[Span, ...]]]:
        """(sequences that may be of a kind, spans of each site in which all that was recorded is known not to be)."""
        if species not in self._of:
            wider = taxa.may_be(self._taxa, {species})
            vague = sorted({(o.site, o.utc_s) for o in self._every if o.species in wider}, key=lambda one: one[1])
            if vague:
                both = sorted({*self._unclear, *vague}, key=lambda one: one[1])
                clear = {site: self._named(spans, site, vague) for site, spans in self._clear.items()}
                self._of[species] = both, clear
            else:
                self._of[species] = self._unclear, self._clear
        return self._of[species]

    def days_with(self, every: Sequence[Detection], site: str) -> set[int]:
        """The local days on which a kind was at a site, as ordinals. every : all of the kind on record."""
        species = every[0].species
        if species not in self._with:
            times = np.array([(one.utc_s, one.until_s) for one in every])
            days = localtime.local_days(times, self.zone) + _EPOCH
            by_site = self._with.setdefault(species, {})
            for one, both in zip(every, days.tolist(), strict=True):
                by_site.setdefault(one.site, set()).update(both)
        return self._with[species].get(site, set())

    def allowed(self, species: str, every: Sequence[Detection]) -> float:
        """Detections of a kind that a stretch with none still allows. every : all of the kind on record."""
        if species not in self._allowed:
            self._allowed[species] = runs.none_seen(asking.scatter_of(self._wide, every), LEVEL)
        return self._allowed[species]

    def whole_days(self, spans: tuple[Span, ...]) -> list[int]:
        """The local days that lie whole in these spans, as ordinals, in order."""
        if spans not in self._whole:
            days: dict[int, float] = {}
            for start, end in spans:
                while start < end:
                    day = _day(self.selection, start)
                    stop = min(end, localtime.day_after_start_s(day, self.zone))
                    days[day.toordinal()] = days.get(day.toordinal(), 0.0) + stop - start
                    start = stop
            self._whole[spans] = [n for n, length in sorted(days.items()) if length >= WHOLE_DAY * DAY_S]
        return self._whole[spans]

    def _named(self, spans: tuple[Span, ...], site: str, unclear: Iterable[tuple[str, float]]) -> tuple[Span, ...]:
        """Spans without the days of which something at the site may be anything."""
        days = sorted({_day(self.selection, utc_s) for where, utc_s in unclear if where == site})
        off = tuple((localtime.day_start_s(d, self.zone), localtime.day_after_start_s(d, self.zone)) for d in days)
        return without(spans, off)


def _row(watch: _Watch, stretch: Stretch, species: str, every: Sequence[Detection]) -> FirstLast | None:
    start, end = watch.limits(stretch)
    inside = tuple(d for d in every if start <= d.utc_s < end)
    if not inside:
        return None
    maybe, clear = watch.of(species)
    before = [d for d in every if d.utc_s < start]
    after = [d for d in every if d.utc_s >= end]
    first, last = inside[0], max(inside, key=lambda d: d.until_s)
    return FirstLast(
        species=species,
        stretch=stretch,
        found=inside,
        first=_edge(watch, first, first.utc_s, (start, first.utc_s), maybe, clear, every, before[-1:], step=-1),
        last=_edge(watch, last, last.until_s, (last.until_s, end), maybe, clear, every, after[:1], step=1),
    )


def _edge(
    watch: _Watch, detection: Detection, at_s: float, beyond: Span, maybe: Sequence[tuple[str, float]],
    clear: Mapping[str, tuple[Span, ...]], every: Sequence[Detection], outside: Sequence[Detection], *, step: int,
) -> Edge:  # fmt: skip
    days = sum(_length(cut(spans, *beyond)) for spans in clear.values()) / DAY_S
    # Of the detection's own instant nothing can be earlier, or later.
    perhaps = [utc_s for _, utc_s in maybe if beyond[0] <= utc_s < beyond[1] and utc_s != at_s]
    outermost = None if not perhaps else perhaps[0] if step < 0 else perhaps[-1]
    day = _day(watch.selection, at_s)
    return Edge(
        detection=detection,
        day=day,
        days_beyond=days,
        most_per_100=100 * watch.allowed(detection.species, every) / days if days >= FEWEST_DAYS else None,
        without=_without(watch, detection.site, day, clear.get(detection.site, ()), every, step),
        maybe=len(perhaps),
        maybe_on=None if outermost is None else _day(watch.selection, outermost),
        outside=_day(watch.selection, outside[0].utc_s) if outside else None,
    )


def _without(
    watch: _Watch, site: str, day: date, spans: tuple[Span, ...], every: Sequence[Detection], step: int
) -> date | None:
    """The nearest day before (step −1) or after a day on which a site was watched whole and none of a kind came."""
    with_it = watch.days_with(every, site)
    days = watch.whole_days(spans)
    at = bisect_left(days, day.toordinal()) - 1 if step < 0 else bisect_right(days, day.toordinal())
    while 0 <= at < len(days):
        if days[at] not in with_it:
            return date.fromordinal(days[at])
        at += step
    return None


def _length(spans: Iterable[Span]) -> float:
    return sum(end - start for start, end in spans)


def _day(selection: Selection, utc_s: float) -> date:
    return localtime.local_date(utc_s, selection.reserve.zone)


def by_stretch(table: Sequence[FirstLast]) -> list[tuple[Stretch, list[FirstLast]]]:
    """The table's rows under their stretches, in its order."""
    return [(stretch, list(rows)) for stretch, rows in groupby(table, key=lambda row: row.stretch)]
