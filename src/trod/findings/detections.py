"""From observations to detections: one species at one site, no closer together than the chosen interval.

The rule itself is `trod.pictures.sequences.independent`; here the lines about one sequence are added up first, and
each detection keeps the doors to its sequences and its first picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from trod.findings.observations import Observation, order
from trod.pictures import sequences


@dataclass(frozen=True, kw_only=True)
class Detection:
    """Observations that count as one coming of a species to a site.

    utc_s, until_s : first and last instant. [UTC unix s]
    count : the largest number of animals in any one of its sequences.
    sequences : keys of its sequences, in time order.
    picture : SHA-256 of the first picture.
    """

    species: str
    site: str
    utc_s: float
    until_s: float
    count: int
    sequences: tuple[str, ...]
    picture: str


def detections(observations: Sequence[Observation], independence_min: float) -> tuple[Detection, ...]:
    """Merge animal observations into detections.

    Several lines about one sequence and species (two females, one calf) are added up. Then, for each species
    and site, a sequence that begins *less* than `independence_min` after the end of all before it joins them;
    one that begins exactly that long after, or later, is a detection of its own. With 0 only sequences that
    overlap in time are merged.
    Returns detections in the fixed order: time, site, first picture, species.
    """
    # What is said of one species in one sequence, added up: the first line, and the whole of its lines.
    place_of: dict[tuple[str, str, str], int] = {}
    firsts: list[Observation] = []
    ends: list[float] = []
    counts: list[int] = []
    pictures: list[str] = []
    for one in sorted(observations, key=order):
        if one.what != "animal" or not one.species:
            continue
        at = place_of.setdefault((one.species, one.site, one.sequence), len(firsts))
        if at == len(firsts):  # in the order of time, so that the first line has the first instant
            firsts.append(one)
            ends.append(one.until_s)
            counts.append(max(one.count, 1))
            pictures.append(one.picture)
            continue
        ends[at] = max(ends[at], one.until_s)
        counts[at] += max(one.count, 1)
        pictures[at] = pictures[at] or one.picture
    if not firsts:
        return ()
    kinds = {key: n for n, key in enumerate(sorted({one.species for one in firsts}))}
    places = {key: n for n, key in enumerate(sorted({one.site for one in firsts}))}
    merged = sequences.independent(
        [one.utc_s for one in firsts],
        ends,
        species=[kinds[one.species] for one in firsts],
        site=[places[one.site] for one in firsts],
        count=counts,
        interval_s=independence_min * 60.0,
    )
    members: list[list[int]] = [[] for _ in range(len(merged))]
    for at, label in enumerate(merged.label.tolist()):
        members[label].append(at)
    out = [
        Detection(
            species=firsts[inside[0]].species,
            site=firsts[inside[0]].site,
            utc_s=start,
            until_s=end,
            count=count,
            sequences=tuple([firsts[at].sequence for at in inside]),
            picture=next((pictures[at] for at in inside if pictures[at]), ""),
        )
        for inside, start, end, count in zip(
            members,
            merged.start_s.tolist(),
            merged.end_s.tolist(),
            merged.count.tolist(),
            strict=True,
        )
    ]
    return tuple(sorted(out, key=attrgetter("utc_s", "site", "picture", "species", "sequences")))
