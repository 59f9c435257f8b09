"""What a report says, as one record: the same for the PDF and for the folder of tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from trod import __version__, wording
from trod.errors import NotEnoughEvidence
from trod.findings.effort import DAY_S, Effort, effort
from trod.findings.finding import Finding
from trod.findings.observations import Filter, Reserve, Selection, select
from trod.leaving import without_places
from trod.leaving.sites import FitEvidence, FitSite
from trod.telling import change, what_comes, when
from trod.units import System

Paper = Literal["a4", "us-letter"]
MOST_SPECIES = 3

CANNOT_SAY = (
    "How many animals there are. A rate of detections depends on how far animals walk, where the cameras "
    "hang and how well they see, as well as on how many animals there are.",
    "That a species is absent. What was not seen may have been missed, or have passed where no camera hangs.",
    "What happens away from the sites. They were chosen by people, not drawn at random, unless the reserve's "
    "own plan says so.",
    "Why something changed. Season, weather, snow, a new path, a moved camera and more animals can look alike.",
)


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What was found wrong with, or done to, a camera: one line of the list of camera condition.

    site : slug. camera : as people call it. when : local date. what : in words.
    """

    site: str
    camera: str
    when: date
    what: str


@dataclass(frozen=True, kw_only=True)
class SiteEffort:
    """One site's line in the table of effort.

    number : its number on the map. camera_days, gap_days : in the period.
    reasons : of the gaps, most days first. bar : stretches of the period as (from, to, "watched" | "gap"),
    0 to 1; what is in neither had no camera.
    """

    number: int
    site: FitSite
    cameras: tuple[str, ...]
    camera_days: float
    gap_days: float
    reasons: tuple[tuple[str, float], ...]
    bar: tuple[tuple[float, float, str], ...]


@dataclass(frozen=True, kw_only=True)
class SpeciesPart:
    """The pages on one species: when and change, or why there is none of them."""

    key: str
    name: str
    when: Finding | None
    why_no_when: str
    change: Finding | None
    why_no_change: str


@dataclass(frozen=True, kw_only=True)
class ReportData:
    """All that a report prints, and nothing else is printed.

    title : the reserve's name unless another was given. period : in words.
    filter_sentence : what was looked at.
    sites : in the order of their numbers. comes : what comes here. species : the most frequent ones in turn.
    conditions : in time order. cautions : of all findings, each once. made : version of Trod.
    made_on : a date given by the caller, or None (a report without a date is the same bytes every day).
    show_sensitive : sensitive sites at their true places. system : of lengths. paper : its size.
    """

    title: str
    reserve: Reserve
    period: str
    first: date | None
    last: date | None
    filter_sentence: str
    effort: Effort
    sites: tuple[SiteEffort, ...]
    comes: Finding
    species: tuple[SpeciesPart, ...]
    conditions: tuple[Condition, ...]
    cautions: tuple[str, ...]
    cannot_say: tuple[str, ...]
    show_sensitive: bool
    system: System
    paper: Paper
    made: str
    made_on: date | None


def gather(
    known: FitEvidence,
    filter: Filter,
    *,
    title: str = "",
    conditions: Sequence[Condition] = (),
    most_species: int = MOST_SPECIES,
    system: System = "metric",
    paper: Paper = "a4",
    made_on: date | None = None,
) -> ReportData:
    """Ask the questions of a period and put the answers together.

    conditions : those inside the filter's period and sites are kept.
    most_species : how many species get pages of their own, the most frequent first.
    Raises NotEnoughEvidence when no camera watched.
    """
    evidence = known.evidence
    selection = select(evidence, filter)
    comes = what_comes.answer(evidence, filter)
    parts = []
    for row in [row for row in comes.rows if row["detections"]][:most_species]:
        own = Filter(
            species=(row["species_key"],),
            sites=filter.sites,
            first=filter.first,
            last=filter.last,
            independence_min=filter.independence_min,
            light=filter.light,
        )
        parts.append(_part(known, own, row["species_key"], row["species"]))
    findings = [comes, *(f for part in parts for f in (part.when, part.change) if f is not None)]
    cautions: dict[str, None] = {}  # each once, in the order met
    for finding in findings:
        cautions.update(dict.fromkeys(finding.cautions))
    kept = [
        c if known.true_places else replace(c, what=without_places(c.what))
        for c in conditions
        if (not filter.sites or c.site in filter.sites)
        and (filter.first is None or c.when >= filter.first)
        and (filter.last is None or c.when <= filter.last)
    ]
    worked = effort(selection)
    period = wording.period(selection.first, selection.last) if selection.first and selection.last else ""
    return ReportData(
        title=title or evidence.reserve.name,
        reserve=evidence.reserve,
        period=period,
        first=selection.first,
        last=selection.last,
        filter_sentence=comes.filter_sentence,
        effort=worked,
        sites=_sites(known, selection, worked),
        comes=comes,
        species=tuple(parts),
        conditions=tuple(sorted(kept, key=lambda c: (c.when, c.site, c.camera, c.what))),
        cautions=tuple(cautions),
        cannot_say=CANNOT_SAY,
        show_sensitive=known.true_places,
        system=system,
        paper=paper,
        made=__version__,
        made_on=made_on,
    )


def _part(known: FitEvidence, own: Filter, key: str, name: str) -> SpeciesPart:
    found: dict[str, Finding | None] = {}
    why: dict[str, str] = {}
    for question, ask in (("when", when.answer), ("change", change.answer)):
        try:
            found[question], why[question] = ask(known.evidence, own), ""
        except NotEnoughEvidence as trouble:
            found[question], why[question] = None, wording.capital(str(trouble)) + "."
    return SpeciesPart(
        key=key,
        name=name,
        when=found["when"],
        why_no_when=why["when"],
        change=found["change"],
        why_no_change=why["change"],
    )


def _sites(known: FitEvidence, selection: Selection, worked: Effort) -> tuple[SiteEffort, ...]:
    """Every site with a deployment, a gap or an observation in the period, by name."""
    slugs = sorted(
        {*selection.sites, *(site for site, _ in selection.gaps)},
        key=lambda slug: (selection.evidence.site(slug).name.lower(), slug),
    )
    ends = [e for _, spans in selection.watched.values() for span in spans for e in span]
    ends += [e for _, gap in selection.gaps for e in (gap.start_s, gap.end_s)]
    start, end = (min(ends), max(ends)) if ends else (0.0, 1.0)
    cameras: dict[str, set[str]] = {}
    for deployment in selection.evidence.deployments:
        if f"{deployment.site}/{deployment.slug}" in selection.watched and deployment.camera:
            cameras.setdefault(deployment.site, set()).add(deployment.camera)

    def along(at: float) -> float:
        return (at - start) / (end - start)

    out = []
    for number, slug in enumerate(slugs, start=1):
        reasons: dict[str, float] = {}
        bar = []
        for site, spans in selection.watched.values():
            if site == slug:
                bar += [(along(a), along(b), "watched") for a, b in spans]
        for site, gap in selection.gaps:
            if site == slug:
                bar.append((along(gap.start_s), along(gap.end_s), "gap"))
                reason = gap.reason or "not known"
                reasons[reason] = reasons.get(reason, 0.0) + (gap.end_s - gap.start_s) / DAY_S
        out.append(
            SiteEffort(
                number=number,
                site=known.site(slug),
                cameras=tuple(sorted(cameras.get(slug, ()))),
                camera_days=worked.by_site.get(slug, 0.0),
                gap_days=worked.gap_days_by_site.get(slug, 0.0),
                reasons=tuple(sorted(reasons.items(), key=lambda item: (-item[1], item[0]))),
                bar=tuple(sorted(bar)),
            )
        )
    return tuple(out)


def site_names(data: ReportData) -> Mapping[str, str]:
    """Slug to name of the report's sites."""
    return {line.site.slug: line.site.name for line in data.sites}


def findings_of(data: ReportData) -> list[Finding]:
    """Every finding of the report, in the order they are printed."""
    return [data.comes, *(f for part in data.species for f in (part.when, part.change) if f is not None)]
