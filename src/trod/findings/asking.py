"""What all questions share: fetch and merge the evidence, warn of what is against it, open the numbers."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from trod import wording
from trod.errors import NotEnoughEvidence
from trod.findings import effort, localtime, rates, reviewing, runs
from trod.findings.detections import Detection, detections
from trod.findings.effort import Effort
from trod.findings.finding import Column
from trod.findings.observations import Evidence, Filter, Selection, select
from trod.findings.rates import Days
from trod.findings.reviewing import Carried, Reviewed
from trod.findings.runs import Scatter

OPEN_TOLD = 0.01  # ours: a smaller share of open time is not worth a caution
WEEK_S = runs.BLOCK_DAYS * 86_400.0

STEADY_DETECTION = (
    "An animal that passes is photographed equally often at all sites and times; cover, snow, height and "
    "the camera's make change that, and it is not corrected here."
)
NOT_NUMBERS = "Detections are not animals: one animal may come many times, and the rate is not a density."
SHORT_RUNS = (
    "Animals come in runs of up to about two weeks. Where they stay about for many weeks and are gone for many, a rate "
    "from one season says less than its interval: simulated, as few as 54 of 100 such intervals held the truth, not 95."
)
WATCHED = (
    "Between two signs of life a camera watched. Of silences of which nobody knows, that part counts which its rhythm "
    "lets pass unseen; intervals of rates hold both ends, all of it watched and none."
)


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
            f"no camera watched in what was asked for ({selection.sentence})",
            need="choose a period and sites with a deployment whose card has been brought in",
        )
    return selection, detections(selection.animals, asked.independence_min), worked


def cautions_of(selection: Selection, found: Sequence[Detection], reviewed: Reviewed | None = None) -> list[str]:
    """What in the evidence limits the answer, the same for every question.

    reviewed : where the answer takes what waits for review, and animals that nobody could name, to be like the others.
    """
    out = []
    unseen, seen = len(selection.unseen), selection.sequences_seen
    if unseen:
        out.append(
            f"{wording.plural(unseen, 'sequence')} of {wording.count(unseen + seen)} "
            f"({wording.share(unseen / (unseen + seen))}) {'is' if unseen == 1 else 'are'} not yet reviewed; "
            + ("counts can only grow when they are." if reviewed is None else _waiting(selection, reviewed))
        )
    others = selection.others
    unknown = len({s.sequence for s in others if s.what == "unknown" or (s.what == "animal" and not s.species)})
    left = "left out" if reviewed is None else "taken to be like those of the month that could"
    if unknown:
        out.append(
            f"{wording.plural(unknown, 'sequence')} could not be told to a species and "
            f"{'is' if unknown == 1 else 'are'} {left}."
        )
    if selection.broader:
        names = sorted({s.species_name or s.species for s in selection.broader})
        sequences = len({s.sequence for s in selection.broader})
        out.append(
            f"{wording.plural(sequences, 'sequence')} {'is' if sequences == 1 else 'are'} known only as "
            f"{wording.listed_at_most(names)}, which may be what was asked for or not; "
            f"{'it is' if sequences == 1 else 'they are'} {left}."
        )
    if selection.filter.light != "any":
        out.append(
            f"Only detections by {selection.filter.light} are counted, but effort is whole camera-days, so "
            "a rate is per 100 whole days."
        )
    worked = effort.effort(selection)
    out += _open(worked)
    if worked.doubled:
        names = sorted(selection.evidence.site(site).name for site in worked.doubled)
        out.append(
            f"At {wording.listed_at_most(names, noun='other sites')} two cameras or more watched at once; for rates a "
            f"day there counts once: {wording.number(worked.site_days)} site-days of "
            f"{wording.number(worked.camera_days)} camera-days."
        )
    is_watched = effort.possible_at(selection)
    sites = {site for site, _ in selection.watched.values()}
    unwatched = [p for p in found if p.site not in sites]
    if unwatched:
        names = sorted({selection.evidence.site(p.site).name for p in unwatched})
        out.append(
            f"{wording.plural(len(unwatched), 'detection')} at {wording.listed_at_most(names)}, where no camera counts "
            f"as watching in this time, {'is' if len(unwatched) == 1 else 'are'} listed but not in a rate."
        )
    outside = sum(1 for p in found if p.site in sites and not is_watched(p.site, p.utc_s))
    if outside:
        out.append(
            f"{wording.plural(outside, 'detection')} {'falls' if outside == 1 else 'fall'} into time that "
            f"was not watched; {'it is' if outside == 1 else 'they are'} listed but not in a rate. Check the "
            "deployments' dates and clocks."
        )
    return out


def _waiting(selection: Selection, reviewed: Reviewed) -> str:
    """What is made of the sequences that wait, and what it would take to need no such assumption."""
    one = len(selection.unseen) == 1
    said = (
        f"{'it is' if one else 'they are'} taken to be like the reviewed ones of {'its' if one else 'their'} site, half "
        "of the day and month. "
    )
    if reviewed.order == "content":
        said += "Those reviewed were picked by what is in them, so the lower end is as if those that wait held none. "
    elif reviewed.order == "unknown":
        said += "How those reviewed were chosen is not recorded, so the lower end is as if those that wait held none. "
    sites = sorted({one.site for one in selection.unseen})
    names = wording.listed_at_most([selection.evidence.site(site).name for site in sites], noun="other sites")
    return said + f"To need no such assumption, review {'it' if one else 'all of them'}, at {names}."


def days_noun(worked: Effort) -> str:
    """What the days of a rate are called: 'camera-days', or 'site-days' where that is not the same."""
    return "site-days" if worked.doubled else "camera-days"


def of_site_days(columns: Sequence[Column]) -> tuple[Column, ...]:
    """The columns of a table whose days are site-days."""
    return tuple(
        replace(
            one,
            title="Site-days" if one.key == "camera_days" else one.title,
            unit=one.unit.replace("camera-days", "site-days"),
        )
        for one in columns
    )


def _open(worked: Effort) -> list[str]:
    """Silences of which nobody knows."""
    days = worked.possible_days - worked.proven_days
    if days < 1 or days < OPEN_TOLD * worked.possible_days:
        return []
    return [
        f"Of {wording.number(days)} of {wording.number(worked.possible_days)} {days_noun(worked)} nobody knows whether "
        f"the camera watched; {wording.number(worked.site_days - worked.proven_days)} of them count. Say of each "
        "silence whether it did, and the interval shrinks."
    ]


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


def who(evidence: Evidence, asked: Filter, found: Sequence[Detection]) -> str:
    """Whom the answer is about, as the subject of its sentence: 'Red deer', 'Animals'."""
    names = evidence.names_for(asked)
    keys = sorted(asked.species) or sorted({p.species for p in found})
    if not asked.species and len(keys) != 1:
        return "Animals"
    return wording.capital(wording.listed_at_most([names.get(key, key) for key in keys]))


def inside(name: str) -> str:
    """The subject as it stands within a sentence."""
    return "animals" if name == "Animals" else name
