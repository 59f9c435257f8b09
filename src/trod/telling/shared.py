"""What was asked, of whom, and what limits the answer: the words that every question shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trod import wording
from trod.findings import effort
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.finding import Column
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.reviewing import Reviewed

OPEN_TOLD = 0.01  # ours: a smaller share of open time is not worth a caution
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


def sentence(selection: Selection) -> str:
    """What was asked for, as printed on the page, in the chart's caption and in the report."""
    evidence, asked, sites = selection.evidence, selection.filter, selection.sites
    first, last = selection.first, selection.last
    names = evidence.names_for(asked)
    who = (
        wording.listed_at_most([names.get(key, key) for key in sorted(asked.species)])
        if asked.species
        else "all animals"
    )
    if asked.sites:
        where = "at " + wording.listed_at_most([evidence.site(s).name for s in sorted(asked.sites)], noun="other sites")
    elif len(sites) == 1:
        where = f"at {evidence.site(sites[0]).name}"
    else:
        where = f"at all {wording.plural(len(sites), 'site')}"
    parts = [f"{who} {where}"]
    if first is not None and last is not None:
        parts.append(wording.period(first, last) if first <= last else wording.day(first))
    if asked.light != "any":
        parts.append("between sunrise and sunset" if asked.light == "day" else "between sunset and sunrise")
    if asked.independence_min > 0:
        parts.append(f"detections at least {wording.exactly(60 * asked.independence_min)} apart")
    else:
        parts.append("only sequences that overlap merged")
    return wording.capital(", ".join(parts))


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
