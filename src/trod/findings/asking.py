"""What all questions share: fetch and merge the evidence, warn of what is against it, open the numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trod.errors import NotEnoughEvidence
from trod.findings import effort, localtime, rates, wording
from trod.findings.effort import Effort
from trod.findings.passages import Passage, passages
from trod.findings.sightings import Evidence, Filter, Selection, select

WEEK_S = 7 * 86_400.0

STEADY_DETECTION = (
    "An animal that passes is photographed equally often at all sites and times; cover, snow, height and "
    "the camera's make change that, and it is not corrected here."
)
NOT_NUMBERS = "Passages are not animals: one animal may come many times, and the rate is not a density."
WATCHED = "The cameras worked all the time that counts as watched; time known to be lost is taken off."


def prepare(evidence: Evidence, asked: Filter) -> tuple[Selection, tuple[Passage, ...], Effort]:
    """Selection, passages and effort of a question. Raises NotEnoughEvidence when no camera watched."""
    selection = select(evidence, asked)
    worked = effort.effort(selection)
    if worked.camera_days <= 0:
        raise NotEnoughEvidence(
            f"no camera watched in what was asked for ({selection.sentence})",
            need="choose a period and sites with a deployment whose card has been brought in",
        )
    return selection, passages(selection.animals, asked.independence_min), worked


def cautions_of(selection: Selection, found: Sequence[Passage]) -> list[str]:
    """What in the evidence speaks against the answer, the same for every question."""
    out = []
    unseen, seen = len(selection.unseen), selection.events_seen
    if unseen:
        out.append(
            f"{wording.plural(unseen, 'event')} of {wording.count(unseen + seen)} "
            f"({wording.share(unseen / (unseen + seen))}) {'is' if unseen == 1 else 'are'} not yet sorted; "
            "counts can only grow when they are."
        )
    others = selection.others
    unsure = len({s.event for s in others if s.what == "unsure" or (s.what == "animal" and not s.species)})
    if unsure:
        out.append(
            f"{wording.plural(unsure, 'event')} could not be told to a species and "
            f"{'is' if unsure == 1 else 'are'} left out."
        )
    if selection.filter.light != "any":
        out.append(
            f"Only passages by {selection.filter.light} are counted, but effort is whole camera-days, so "
            "a rate is per 100 whole days."
        )
    is_watched = effort.watched_at(selection)
    outside = sum(1 for p in found if not is_watched(p.site, p.utc_s))
    if outside:
        out.append(
            f"{wording.plural(outside, 'passage')} {'falls' if outside == 1 else 'fall'} into time that "
            "counts as not watched; the passages are kept, so the rate is a little high. Check the "
            "deployments' dates and clocks."
        )
    return out


def opened(found: Sequence[Passage]) -> dict[str, Any]:
    """The doors from a number to what is behind it: first pictures and events, in time order."""
    return {
        "pictures": tuple(p.picture for p in found if p.picture),
        "events": tuple(event for p in found for event in p.events),
    }


def weeks(selection: Selection) -> tuple[dict[str, dict[int, float]], float]:
    """Camera-days per site and week, and the instant week 0 begins: the first local midnight watched."""
    spans = effort.all_spans(selection)
    zone = selection.reserve.zone
    origin = localtime.day_start_s(localtime.local_date(min(a for a, _ in spans), zone), zone)
    out: dict[str, dict[int, float]] = {site: {} for site in selection.sites}
    for site, own in selection.watched.values():
        for first, end in own:
            start = first
            while start < end:
                week = int((start - origin) // WEEK_S)
                stop = min(end, origin + (week + 1) * WEEK_S)
                out[site][week] = out[site].get(week, 0.0) + (stop - start) / effort.DAY_S
                start = stop
    return out, origin


def rate_of(selection: Selection, worked: Effort, found: Sequence[Passage]) -> rates.Rate:
    """The rate of these passages in the selection, its interval chosen by their scatter."""
    days, origin = weeks(selection)
    counts: dict[str, dict[int, int]] = {site: dict.fromkeys(days[site], 0) for site in selection.sites}
    by_site: dict[str, int] = dict.fromkeys(selection.sites, 0)
    for passage in found:
        by_site[passage.site] += 1
        week = int((passage.utc_s - origin) // WEEK_S)
        if week in counts[passage.site]:
            counts[passage.site][week] += 1
    # A ragged week of a few hours would give the scatter's test expected counts near zero: it is left out.
    kept = {
        site: [week for week in sorted(days[site]) if days[site][week] >= 1.0] for site in selection.sites
    }
    return rates.rate(
        [by_site[site] for site in selection.sites],
        [worked.by_site.get(site, 0.0) for site in selection.sites],
        week_counts=[[counts[site][week] for week in kept[site]] for site in selection.sites],
        week_efforts=[[days[site][week] for week in kept[site]] for site in selection.sites],
    )


def who(evidence: Evidence, asked: Filter, found: Sequence[Passage]) -> str:
    """Whom the answer is about, as the subject of its sentence: 'Red deer', 'Animals'."""
    names = {**asked.species_names, **evidence.species_names()}
    keys = sorted(asked.species) or sorted({p.species for p in found})
    if not asked.species and len(keys) != 1:
        return "Animals"
    return wording.capital(wording.listed_at_most([names.get(key, key) for key in keys]))


def inside(name: str) -> str:
    """The subject as it stands within a sentence."""
    return "animals" if name == "Animals" else name
