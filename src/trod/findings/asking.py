"""What all questions share: fetch and merge the evidence, carry it up by what was reviewed, open the numbers."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from trod.errors import NotEnoughEvidence
from trod.findings import effort, localtime, rates, reviewing, runs
from trod.findings.detections import Detection, detections
from trod.findings.effort import Effort
from trod.findings.observations import Evidence, Filter, Selection, select
from trod.findings.rates import Days
from trod.findings.reviewing import Carried, Reviewed
from trod.findings.runs import Scatter

WEEK_S = runs.BLOCK_DAYS * 86_400.0


def prepare(
    evidence: Evidence, asked: Filter, *, counts_do: bool = False
) -> tuple[Selection, tuple[Detection, ...], Effort]:
    """Selection, detections and effort of a question. Raises NotEnoughEvidence when no camera watched.

    counts_do : the question can be answered by counts alone, where it is open whether a camera watched.
    """
    selection = select(evidence, asked)
    worked = effort.effort(selection)
    if (worked.possible_days if counts_do else worked.camera_days) <= 0:
        raise NotEnoughEvidence(
            "no camera watched in the time and at the sites asked for",
            need="choose a period and sites with a deployment whose card has been brought in",
        )
    return selection, detections(selection.animals, asked.independence_min), worked


def opened(found: Sequence[Detection]) -> dict[str, Any]:
    """The doors from a number to what is behind it: first pictures and sequences, in time order."""
    return {
        "pictures": tuple(p.picture for p in found if p.picture),
        "sequences": tuple(sequence for p in found for sequence in p.sequences),
    }


def scatter_of(
    selection: Selection,
    found: Sequence[Detection],
    part: Callable[[date], Hashable] | None = None,
    carried: Carried | None = None,
) -> Scatter:
    """How these detections scatter between the weeks of each site.

    part : gives each calendar month the part of the record it belongs to, each part with a rate of its own; months
    for which it gives None are left out. Without it the record is one. carried : their weights.
    """
    counts, efforts = blocks(selection, found, part, carried)
    return runs.scatter(counts, efforts, single=carried.single if carried else 1.0)


def scatter_elsewhere(evidence: Evidence, asked: Filter, species: str) -> Scatter | None:
    """How the detections of a species scatter in the whole record, when only a part of it was asked for."""
    if not (asked.sites or asked.first or asked.last):
        return None
    everywhere = select(evidence, replace(asked, species=(species,), sites=(), first=None, last=None))
    found = detections(everywhere.animals, asked.independence_min)
    return scatter_of(everywhere, found) if everywhere.watched else None


def blocks(
    selection: Selection,
    found: Sequence[Detection],
    part: Callable[[date], Hashable] | None = None,
    carried: Carried | None = None,
) -> tuple[list[list[float]], list[list[float]]]:
    """Detections and site-days of the weeks of every site (and part), each list without a hole.

    carried : weights of the detections, and the sites' months that take no part.
    Week 0 of a site begins at its first local midnight watched. A detection at an instant that does not count as
    watched stands in a week of no effort, or of the little that there is.
    """
    zone = selection.reserve.zone
    days: dict[tuple[str, Hashable], dict[int, float]] = {}
    counts: dict[tuple[str, Hashable], dict[int, float]] = {}
    origin: dict[str, float] = {}
    spans = effort.joined_by_site(selection.watched.values())
    for site, own in spans.items():
        origin[site] = localtime.day_start_s(localtime.local_date(own[0][0], zone), zone)
    for site, own in spans.items():
        for start, end in own:
            for key, a, b in _parts(start, end, zone, _of_site(part, site, carried)):
                while a < b:
                    week = int((a - origin[site]) // WEEK_S)
                    stop = min(b, origin[site] + (week + 1) * WEEK_S)
                    into = days.setdefault((site, key), {})
                    into[week] = into.get(week, 0.0) + (stop - a) / effort.DAY_S
                    a = stop
    months = localtime.months_of([p.utc_s for p in found], zone) if part else [None] * len(found)
    weights = carried.weights.tolist() if carried else [1.0] * len(found)
    for detection, month, weight in zip(found, months, weights, strict=True):
        key = part(month) if part and month else ""
        if key is None or detection.site not in origin:
            continue
        week = int((detection.utc_s - origin[detection.site]) // WEEK_S)
        seen = counts.setdefault((detection.site, key), {})
        seen[week] = seen.get(week, 0.0) + weight
    out_counts, out_days = [], []
    for where in sorted({*days, *counts}, key=repr):
        watched, came = days.get(where, {}), counts.get(where, {})
        weeks = range(min((*watched, *came)), max((*watched, *came)) + 1)
        out_counts.append([came.get(week, 0.0) for week in weeks])
        out_days.append([watched.get(week, 0.0) for week in weeks])
    return out_counts, out_days


def _of_site(
    part: Callable[[date], Hashable] | None, site: str, carried: Carried | None
) -> Callable[[date], Hashable] | None:
    """The part of each month, without those of a site of which nothing was reviewed."""
    out = {month for where, month in carried.left_out if where == site} if carried else set()
    if not out:
        return part
    return lambda month: None if month in out else part(month) if part else ""


def _parts(
    start_s: float, end_s: float, zone: str, part: Callable[[date], Hashable] | None
) -> Iterator[tuple[Hashable, float, float]]:
    """A watched span cut at the borders of its months, each piece with its part; what has none is left out."""
    if part is None:
        yield "", start_s, end_s
        return
    for month, a, b in effort.months_of_span(start_s, end_s, zone):
        key = part(month)
        if key is not None:
            yield key, a, b


def rate_of(
    selection: Selection,
    worked: Effort,
    found: Sequence[Detection],
    reviewed: Reviewed,
    *,
    of: frozenset[str] | None = None,
    elsewhere: Scatter | None = None,
) -> rates.Rate:
    """The rate of these detections in the selection, with the interval that their runs deserve.

    of : the kinds that they are of; without it those asked for. elsewhere : the scatter of the same animals in the whole
    record, for when none was seen here.
    """
    possible = effort.possible_at(selection)
    inside = [one for one in found if possible(one.site, one.utc_s)]
    by_site: dict[str, float] = dict.fromkeys(selection.sites, 0.0)
    for detection in inside:
        by_site[detection.site] += 1
    counts, efforts = blocks(selection, inside)
    return rates.rate(
        [by_site[site] for site in selection.sites],
        [worked.site_days_by_site.get(site, 0.0) for site in selection.sites],
        week_counts=counts,
        week_efforts=efforts,
        days=Days(*worked.ends()),
        weighed=None if reviewed.complete(of) else _weighed(selection, worked, inside, reviewed, of),
        elsewhere=elsewhere,
    )


def _weighed(
    selection: Selection, worked: Effort, inside: Sequence[Detection], reviewed: Reviewed, of: frozenset[str] | None
) -> rates.Weighed:
    """The same carried up by what was reviewed."""
    carried = reviewing.carried(selection, inside, reviewed, of, worked.possible)
    by_site: dict[str, float] = dict.fromkeys(selection.sites, 0.0)
    for detection, weight in zip(inside, carried.weights.tolist(), strict=True):
        by_site[detection.site] += weight
    days: dict[str, float] = dict.fromkeys(selection.sites, 0.0)
    for (site, month), of_month in worked.site_days_by_site_month.items():
        if (site, month) not in carried.left_out:
            days[site] += of_month
    counts, efforts = blocks(selection, inside, carried=carried)
    return rates.Weighed(
        site_counts=[by_site[site] for site in selection.sites],
        site_efforts=[days[site] for site in selection.sites],
        week_counts=counts,
        week_efforts=efforts,
        days=Days(*worked.ends(lambda place: float(place not in carried.left_out))),
        days_if_none=Days(*worked.ends(lambda place: reviewed.whole(*place, of))),
        largest=carried.largest,
        single=carried.single,
        by_content=reviewed.order != "time",
    )
