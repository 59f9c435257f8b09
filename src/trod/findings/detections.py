"""From observations to detections: one species at one site, no closer together than the chosen interval.

The rule itself is `trod.pictures.events.independent`; here the lines about one sequence are added up first, and
each detection keeps the doors to its sequences and its first picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    grouped: dict[tuple[str, str, str], list[Observation]] = {}
    for observation in sorted(observations, key=order):
        if observation.what == "animal" and observation.species:
            key = (observation.species, observation.site, observation.sequence)
            grouped.setdefault(key, []).append(observation)
    lines = list(grouped.values())  # in the order of each sequence's first line
    if not lines:
        return ()
    kinds = {key: n for n, key in enumerate(sorted({key[0] for key in grouped}))}
    places = {key: n for n, key in enumerate(sorted({key[1] for key in grouped}))}
    merged = sequences.independent(
        [min(s.utc_s for s in rows) for rows in lines],
        [max(s.until_s for s in rows) for rows in lines],
        species=[kinds[rows[0].species] for rows in lines],
        site=[places[rows[0].site] for rows in lines],
        count=[sum(max(s.count, 1) for s in rows) for rows in lines],
        interval_s=independence_min * 60.0,
    )
    members: list[list[list[Observation]]] = [[] for _ in range(len(merged))]
    for label, rows in zip(merged.label.tolist(), lines, strict=True):
        members[label].append(rows)
    out = [
        Detection(
            species=inside[0][0].species,
            site=inside[0][0].site,
            utc_s=float(start),
            until_s=float(end),
            count=int(count),
            sequences=tuple(rows[0].sequence for rows in inside),
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
    return tuple(sorted(out, key=lambda p: (p.utc_s, p.site, p.picture, p.species, p.sequences)))
