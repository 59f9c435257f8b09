"""The evidence that every question is asked of, and the filter that narrows it and says so in a sentence.

Everything is named by keys that outlive a rebuild of the catalogue (slugs, uuids, SHA-256), never by a
database's row number: the same archive must give the same finding to the last digit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from operator import attrgetter
from typing import Any, Literal

import numpy as np

from trod import sky
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import localtime, taxa
from trod.findings.taxa import Taxon

Span = tuple[float, float]  # UTC unix seconds, start ≤ end
Light = Literal["any", "day", "night"]
ReviewOrder = Literal["unknown", "time", "content"]
COMMON_INDEPENDENCE_MIN = 30.0
# Ours: good and bad years differ by about a fifth by themselves, as a standard deviation on the log scale. No record
# under six years can tell it, so it is a stated allowance that the reserve may set.
YEARLY_ALLOWANCE = 0.2


@dataclass(frozen=True, kw_only=True)
class Reserve:
    """The reserve's name, its middle, and the IANA zone whose calendar its people live by.

    latitude_deg, longitude_deg : None when its place is not known; then nothing is said of the sun.
    yearly_allowance : how much good and bad years are taken to differ by themselves, as a share (log scale).
    """

    name: str
    latitude_deg: float | None
    longitude_deg: float | None
    zone: str = "UTC"
    yearly_allowance: float = YEARLY_ALLOWANCE

    @property
    def place(self) -> tuple[float, float] | None:
        """Latitude and longitude; None when one of them is not known."""
        if self.latitude_deg is None or self.longitude_deg is None:
            return None
        return self.latitude_deg, self.longitude_deg


@dataclass(frozen=True, kw_only=True)
class Site:
    """One place where cameras hang. `slug` is its key. A sensitive site is never drawn at its true point."""

    slug: str
    name: str
    latitude_deg: float
    longitude_deg: float
    feature: str = ""
    sensitive: bool = False


@dataclass(frozen=True, kw_only=True)
class Gap:
    """Time in which a deployed camera did not watch, or of which nobody knows."""

    start_s: float
    end_s: float
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Deployment:
    """One camera at one site.

    line_up : a name for how it sees (model, settings, where it looks), the same for all that see alike; empty: by
    the camera. watched : spans that count as effort; UTC unix seconds. gaps : what was not watched, with the reason of
    each. open : what nobody knows of; some of it, next to what is proven, may count.
    """

    slug: str
    site: str
    camera: str = ""
    line_up: str = ""
    watched: tuple[Span, ...] = ()
    gaps: tuple[Gap, ...] = ()
    open: tuple[Gap, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Observation:
    """One line of the identification that stands of one sequence.

    sequence : the sequence's key, the same after a rebuild (its uuid or archive name).
    deployment, site : slugs.
    what : animal | blank | human | vehicle | unknown.
    species, species_name : key and name; empty unless `what` is animal.
    utc_s, end_s : first and last picture of the sequence, corrected; UTC unix seconds (end 0 means: as start).
    picture : SHA-256 of the sequence's first picture.
    pictures : how many pictures the sequence has.
    reached : how the sequence came up when it was first reviewed; empty: as the evidence says of all.
    """

    sequence: str
    deployment: str
    site: str
    utc_s: float
    end_s: float = 0.0
    what: str = "animal"
    species: str = ""
    species_name: str = ""
    count: int = 1
    sex: str = "unknown"
    life_stage: str = "unknown"
    said_by: str = ""
    picture: str = ""
    pictures: int = 1
    reached: ReviewOrder | Literal[""] = ""

    @property
    def until_s(self) -> float:
        """The sequence's last instant, never before its first."""
        return max(self.utc_s, self.end_s)


@dataclass(frozen=True, kw_only=True)
class UnseenSequence:
    """A sequence that nobody has identified yet. It may hold anything, so answers must mention it."""

    sequence: str
    site: str
    utc_s: float


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """All that is known of one reserve: sites, what was watched, what was said, what is still unsorted.

    taxa : the reserve's kinds of animals, with those above species.
    review_order : how sequences came up for review where only some were: by time or at random ("time"), picked by
    what was thought to be in them ("content"), or not known.
    """

    reserve: Reserve
    sites: tuple[Site, ...] = ()
    deployments: tuple[Deployment, ...] = ()
    observations: tuple[Observation, ...] = ()
    unseen: tuple[UnseenSequence, ...] = ()
    taxa: tuple[Taxon, ...] = ()
    review_order: ReviewOrder = "unknown"

    @cached_property
    def in_order(self) -> tuple[Observation, ...]:
        """The observations in their fixed order; sorted once, however many questions are asked."""
        return tuple(sorted(self.observations, key=order))

    @cached_property
    def unseen_in_order(self) -> tuple[UnseenSequence, ...]:
        """The unsorted sequences in theirs: time, place, key."""
        return tuple(sorted(self.unseen, key=attrgetter("utc_s", "site", "sequence")))

    def site(self, slug: str) -> Site:
        """The site of that slug; a bare one bearing the slug as its name when the ledger has none."""
        for site in self.sites:
            if site.slug == slug:
                return site
        latitude, longitude = self.reserve.place or (math.nan, math.nan)
        return Site(slug=slug, name=slug, latitude_deg=latitude, longitude_deg=longitude)

    def species_names(self) -> dict[str, str]:
        """Key to name of every species that was said at least once, by name."""
        names = {s.species: s.species_name or s.species for s in self.observations if s.species}
        return dict(sorted(names.items(), key=lambda pair: (pair[1].lower(), pair[0])))

    def names_for(self, asked: Filter) -> dict[str, str]:
        """Key to name in an answer: a kind above species that was asked for stands for all below it."""
        wider = {kind.key: kind.name for kind in self.taxa if kind.rank != "species" and kind.key in asked.species}
        return {
            **asked.species_names,
            **self.species_names(),
            **{key: taxa.all_kinds(name) for key, name in wider.items()},
        }


@dataclass(frozen=True, kw_only=True)
class Filter:
    """What part of the evidence a question looks at; it gives the selection *and* the sentence that says so.

    species, sites : keys; empty means all.
    first, last : local dates, both included; None means as far as the evidence goes.
    independence_min : observations of one species at one site closer than this are one detection. [min]
    light : "any", or only what came between sunrise and sunset ("day") or sunset and sunrise ("night").
    species_names : names for the sentence when the evidence has none (a species never seen here). Optional.
    """

    species: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    first: date | None = None
    last: date | None = None
    independence_min: float = COMMON_INDEPENDENCE_MIN
    light: Light = "any"
    species_names: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not 0 <= self.independence_min <= 7 * 24 * 60:  # also catches nan
            raise WrongInput("independence_min", got=self.independence_min, needed="minutes from 0 to 10080 (a week)")
        if self.first is not None and self.last is not None and self.first > self.last:
            raise WrongInput(
                "from",
                got=f"{self.first.isoformat()}, which is after {self.last.isoformat()}",
                needed="a first day on or before the last day",
            )
        if self.light not in ("any", "day", "night"):
            raise WrongInput("light", got=self.light, needed="any, day or night")

    def to_dict(self) -> dict[str, Any]:
        """The filter as plain values, in a fixed order."""
        return {
            "species": sorted(self.species),
            "sites": sorted(self.sites),
            "from": self.first.isoformat() if self.first else None,
            "to": self.last.isoformat() if self.last else None,
            "independence_min": self.independence_min,
            "light": self.light,
        }


@dataclass(frozen=True, kw_only=True)
class Selection:
    """What a filter leaves of the evidence.

    sites : slugs with a deployment or an observation in the selection, sorted.
    watched : per deployment slug: (site slug, spans cut to the period, overlaps joined).
    open : per deployment slug, those of which nobody knows, likewise; some of them may be in `watched`.
    gaps : (site slug, gap cut to the period).
    animals, others : observations inside period, sites, (for animals) species and light; in a fixed order. An animal
    asked for by a kind above its species bears that kind.
    broader : animals known only by a kind above those asked for, which may be of them or not; in none.
    every : all observations inside period and sites, whatever they are.
    unseen : unsorted sequences inside period and sites.
    sequences_seen : sequences somebody has identified, inside period and sites, whatever is in them.
    first, last : local dates the selection truly covers: asked for, or as far as cameras watched.
    """

    evidence: Evidence
    filter: Filter
    sites: tuple[str, ...]
    watched: Mapping[str, tuple[str, tuple[Span, ...]]]
    open: Mapping[str, tuple[str, tuple[Span, ...]]]
    gaps: tuple[tuple[str, Gap], ...]
    animals: tuple[Observation, ...]
    others: tuple[Observation, ...]
    broader: tuple[Observation, ...]
    every: tuple[Observation, ...]
    unseen: tuple[UnseenSequence, ...]
    sequences_seen: int
    first: date | None
    last: date | None

    @property
    def reserve(self) -> Reserve:
        """The reserve the evidence is from."""
        return self.evidence.reserve


def joined(spans: tuple[Span, ...] | list[Span]) -> tuple[Span, ...]:
    """Spans sorted, empty ones dropped, overlapping or touching ones joined."""
    out: list[list[float]] = []
    for start, end in sorted(spans):
        if end <= start:
            continue
        if out and start <= out[-1][1]:
            out[-1][1] = max(out[-1][1], end)
        else:
            out.append([start, end])
    return tuple((start, end) for start, end in out)


def cut(spans: tuple[Span, ...], start_s: float, end_s: float) -> tuple[Span, ...]:
    """The parts of the spans that lie between two instants."""
    return tuple((max(a, start_s), min(b, end_s)) for a, b in spans if min(b, end_s) > max(a, start_s))


def without(spans: tuple[Span, ...], others: tuple[Span, ...]) -> tuple[Span, ...]:
    """What is left of spans outside others; both in order and without overlap."""
    out: list[Span] = []
    for start, end in spans:
        for a, b in others:
            if b <= start or a >= end:
                continue
            if a > start:
                out.append((start, a))
            start = b
        if end > start:
            out.append((start, end))
    return tuple(out)


# The fixed order of observations: time, place, picture, then all that was said, so that a rebuild sorts alike.
order = attrgetter(
    "utc_s", "site", "picture", "sequence", "deployment", "species", "count", "sex", "life_stage", "what", "said_by"
)


def select(evidence: Evidence, asked: Filter) -> Selection:
    """Narrow the evidence to what the filter asks for."""
    zone = evidence.reserve.zone
    start_s = localtime.day_start_s(asked.first, zone) if asked.first else -np.inf
    end_s = localtime.day_after_start_s(asked.last, zone) if asked.last else np.inf
    wanted_sites, wanted_species = set(asked.sites), set(asked.species)

    def here(site: str, utc_s: float) -> bool:
        return (not wanted_sites or site in wanted_sites) and start_s <= utc_s < end_s

    watched: dict[str, tuple[str, tuple[Span, ...]]] = {}
    open_: dict[str, tuple[str, tuple[Span, ...]]] = {}
    gaps: list[tuple[str, Gap]] = []
    for deployment in sorted(evidence.deployments, key=lambda d: (d.site, d.slug)):
        if wanted_sites and deployment.site not in wanted_sites:
            continue
        spans = cut(joined(deployment.watched), start_s, end_s)
        if spans:
            watched[f"{deployment.site}/{deployment.slug}"] = (deployment.site, spans)
        unknown = cut(joined([(gap.start_s, gap.end_s) for gap in deployment.open]), start_s, end_s)
        if unknown:
            open_[f"{deployment.site}/{deployment.slug}"] = (deployment.site, unknown)
        for gap in sorted(deployment.gaps, key=lambda g: (g.start_s, g.end_s, g.reason)):
            a, b = max(gap.start_s, start_s), min(gap.end_s, end_s)
            if b > a:
                gaps.append((deployment.site, Gap(start_s=a, end_s=b, reason=gap.reason)))

    inside = [s for s in evidence.in_order if here(s.site, s.utc_s)]
    animals = [s for s in inside if s.what == "animal" and s.species]
    broader: list[Observation] = []
    if wanted_species:
        wider = taxa.may_be(evidence.taxa, wanted_species)
        broader = [s for s in animals if s.species in wider]
        animals = _gathered(evidence, asked, animals)
    if asked.light != "any":
        animals = _by_light(evidence.reserve, animals, asked.light)
        broader = _by_light(evidence.reserve, broader, asked.light)
    others = [s for s in inside if s.what != "animal" or not s.species]
    unseen = [u for u in evidence.unseen_in_order if here(u.site, u.utc_s)]
    sites = sorted({site for site, _ in watched.values()} | {s.site for s in inside} | {u.site for u in unseen})

    starts = [span[0] for _, spans in watched.values() for span in spans] or [s.utc_s for s in inside]
    ends = [span[1] for _, spans in watched.values() for span in spans] or [s.utc_s + 1 for s in inside]
    first = asked.first or (localtime.local_date(min(starts), zone) if starts else None)
    last = asked.last or (localtime.local_date(max(ends) - 1e-3, zone) if ends else None)
    return Selection(
        evidence=evidence,
        filter=asked,
        sites=tuple(sites),
        watched=watched,
        open=open_,
        gaps=tuple(gaps),
        animals=tuple(animals),
        others=tuple(others),
        broader=tuple(broader),
        every=tuple(inside),
        unseen=tuple(unseen),
        sequences_seen=len({s.sequence for s in inside}),
        first=first,
        last=last,
    )


def _gathered(evidence: Evidence, asked: Filter, animals: list[Observation]) -> list[Observation]:
    """Those asked for, each bearing the kind by which it was asked for."""
    as_which = taxa.gatherer(evidence.taxa, asked.species)
    names = evidence.names_for(asked)
    out = []
    for observation in animals:
        key = as_which(observation.species)
        if key == observation.species and names.get(key) in (None, observation.species_name):
            out.append(observation)
        elif key is not None:
            out.append(replace(observation, species=key, species_name=names.get(key, key)))
    return out


def _by_light(reserve: Reserve, animals: list[Observation], light: Light) -> list[Observation]:
    """Only observations between sunrise and sunset (day) or between sunset and sunrise (night)."""
    if not animals:
        return []
    if reserve.place is None:
        raise NotEnoughEvidence(
            "where the reserve lies is not entered, so day and night are not known", need="enter the reserve's place"
        )
    latitude, longitude = reserve.place
    heights, _ = sky.sun_position(np.array([s.utc_s for s in animals]), latitude_deg=latitude, longitude_deg=longitude)
    up = heights >= sky.RISE_SET_ELEVATION_DEG
    return [s for s, is_up in zip(animals, up, strict=True) if bool(is_up) == (light == "day")]
