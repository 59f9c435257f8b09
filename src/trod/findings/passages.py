"""From sightings to passages: one species at one site, no closer together than the chosen interval.

The rule itself is `trod.pictures.events.independent`; here the lines about one event are added up first, and
each passage keeps the doors to its events and its first picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trod.findings.sightings import Sighting, order
from trod.pictures import events


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

    Several lines about one event and species (two females, one calf) are added up. Then, for each species
    and site, an event that begins *less* than `independence_min` after the end of all before it joins them;
    one that begins exactly that long after, or later, is a passage of its own. With 0 only events that
    overlap in time are merged.
    Returns passages in the fixed order: time, site, first picture, species.
    """
    grouped: dict[tuple[str, str, str], list[Sighting]] = {}
    for sighting in sorted(sightings, key=order):
        if sighting.what == "animal" and sighting.species:
            key = (sighting.species, sighting.site, sighting.event)
            grouped.setdefault(key, []).append(sighting)
    lines = list(grouped.values())  # in the order of each event's first line
    if not lines:
        return ()
    kinds = {key: n for n, key in enumerate(sorted({key[0] for key in grouped}))}
    places = {key: n for n, key in enumerate(sorted({key[1] for key in grouped}))}
    merged = events.independent(
        [min(s.utc_s for s in rows) for rows in lines],
        [max(s.until_s for s in rows) for rows in lines],
        species=[kinds[rows[0].species] for rows in lines],
        site=[places[rows[0].site] for rows in lines],
        count=[sum(max(s.count, 1) for s in rows) for rows in lines],
        interval_s=independence_min * 60.0,
    )
    members: list[list[list[Sighting]]] = [[] for _ in range(len(merged))]
    for label, rows in zip(merged.label.tolist(), lines, strict=True):
        members[label].append(rows)
    out = [
        Passage(
            species=inside[0][0].species,
            site=inside[0][0].site,
            utc_s=float(start),
            until_s=float(end),
            count=int(count),
            events=tuple(rows[0].event for rows in inside),
            picture=next((s.picture for rows in inside for s in rows if s.picture), ""),
        )
        for inside, start, end, count in zip(
            members,
            merged.start_s.tolist(),
            merged.end_s.tolist(),
            merged.count.tolist(),
            strict=True,
        )
    ]
    return tuple(sorted(out, key=lambda p: (p.utc_s, p.site, p.picture, p.species, p.events)))
