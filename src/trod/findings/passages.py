"""From sightings to passages: one species at one site, no closer together than the chosen interval.

The interval is the user's to choose; 30 minutes and 1 hour are the common ones (Alberta Remote Camera
Steering Committee & WildCAM, 2024, Remote Camera Survey Guidelines, glossary "detection event").
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trod.findings.sightings import Sighting, order


@dataclass(frozen=True, kw_only=True)
class Passage:
    """Sightings that count as one coming of a species to a site.

    utc_s, until_s : first and last instant. [UTC unix s]
    count : the largest number of animals in any one of its events.
    events : keys of its events, in time order.
    picture : SHA-256 of the first picture.
    """

    species: str
    site: str
    utc_s: float
    until_s: float
    count: int
    events: tuple[str, ...]
    picture: str


def passages(sightings: Sequence[Sighting], independence_min: float) -> tuple[Passage, ...]:
    """Merge animal sightings into passages.

    Several lines about one event and species (two females, one calf) are added up first. Then, for each
    species and site, an event that begins *less* than `independence_min` after the end of all before it
    joins them; one that begins exactly that long after, or later, is a passage of its own. With 0 nothing
    is merged: every event is its own passage.

    Returns passages in the fixed order: time, site, first picture, species.
    """
    events: dict[tuple[str, str, str], list[Sighting]] = {}
    for sighting in sorted(sightings, key=order):
        if sighting.what == "animal" and sighting.species:
            events.setdefault((sighting.species, sighting.site, sighting.event), []).append(sighting)

    by_place: dict[tuple[str, str], list[Passage]] = {}
    for (species, site, event), lines in events.items():  # in time order, since the sightings were
        by_place.setdefault((species, site), []).append(
            Passage(
                species=species,
                site=site,
                utc_s=min(line.utc_s for line in lines),
                until_s=max(line.until_s for line in lines),
                count=sum(max(line.count, 1) for line in lines),
                events=(event,),
                picture=lines[0].picture,
            )
        )
    gap_s = independence_min * 60.0
    out: list[Passage] = []
    for places in by_place.values():
        standing = places[0]
        for nxt in places[1:]:
            if independence_min > 0 and nxt.utc_s - standing.until_s < gap_s:
                standing = Passage(
                    species=standing.species,
                    site=standing.site,
                    utc_s=standing.utc_s,
                    until_s=max(standing.until_s, nxt.until_s),
                    count=max(standing.count, nxt.count),
                    events=standing.events + nxt.events,
                    picture=standing.picture or nxt.picture,
                )
            else:
                out.append(standing)
                standing = nxt
        out.append(standing)
    return tuple(sorted(out, key=lambda p: (p.utc_s, p.site, p.picture, p.species, p.events)))
