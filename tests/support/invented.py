"""An invented reserve for tests of findings and reports. Nobody's real place, no real animals: a dice-thrower
with known odds makes every observation, so tests know the truth behind them.
"""

from __future__ import annotations

import hashlib
import math
from datetime import UTC, datetime

import numpy as np

from trod.findings import Deployment, Evidence, Gap, Observation, Reserve, Site, UnseenSequence

DAY_S = 86_400.0
RESERVE = Reserve(name="Hollin Fold (invented)", latitude_deg=47.3, longitude_deg=12.8, zone="Europe/Vienna")

# slug, name, feature, metres east and north of the middle, sensitive
_SITES = (
    ("alder-ford", "Alder Ford", "ford", -900, 400, False),
    ("barn-track", "Barn Track", "track", -300, -700, False),
    ("crag-saddle", "Crag Saddle", "ridge saddle", 1500, 900, False),
    ("dew-meadow", "Dew Meadow", "meadow edge", 200, 300, False),
    ("elm-lick", "Elm Lick", "salt lick", 800, -250, False),
    ("fallow-pool", "Fallow Pool", "water hole", -1600, -500, False),
    ("gate-lane", "Gate Lane", "closed lane", 1100, -1300, False),
    ("hidden-den", "Hidden Den", "den", 500, 1400, True),
)
# key, name, detections a day at a middling site, spread between sites (log), hours of the clock it likes
SPECIES = (
    ("red-deer", "Red deer", 0.30, 0.8, (5.5, 20.0), 2.5),
    ("wild-boar", "Wild boar", 0.12, 0.9, (23.5,), 1.5),
    ("red-fox", "Red fox", 0.10, 0.5, (1.5, 22.0), 1.0),
    ("brown-hare", "Brown hare", 0.05, 0.6, (4.0, 21.5), 1.5),
    ("badger", "Badger", 0.03, 0.7, (0.5,), 2.0),
    ("pine-marten", "Pine marten", 0.002, 0.5, (2.0,), 1.0),
)


def utc(text: str) -> float:
    """'2025-03-01 12:00' (UTC) as unix seconds."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def sha(*parts: object) -> str:
    """A made-up SHA-256, the same for the same parts."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def sites() -> tuple[Site, ...]:
    """The eight invented sites."""
    north = 1 / 111_320
    east = north / math.cos(math.radians(RESERVE.latitude_deg))
    return tuple(
        Site(
            slug=slug,
            name=name,
            latitude_deg=RESERVE.latitude_deg + y * north,
            longitude_deg=RESERVE.longitude_deg + x * east,
            feature=feature,
            sensitive=sensitive,
        )
        for slug, name, feature, x, y, sensitive in _SITES
    )


def observation(species: str, when: str | float, **more: object) -> Observation:
    """One animal observation with the dull parts filled in."""
    utc_s = utc(when) if isinstance(when, str) else when
    site = str(more.pop("site", "alder-ford"))
    facts: dict[str, object] = {
        "sequence": f"{site}/{utc_s:.0f}/{species}",
        "deployment": f"{site}-1",
        "site": site,
        "utc_s": utc_s,
        "species": species,
        "species_name": species.replace("-", " ").capitalize(),
        "picture": sha(site, utc_s, species),
    }
    return Observation(**{**facts, **more})  # type: ignore[arg-type]


def watch(site: str, start: str, end: str, *, gaps: tuple[tuple[str, str, str], ...] = ()) -> Deployment:
    """One deployment that watched from start to end but for the gaps."""
    edges, spans = utc(start), []
    for a, b, _ in gaps:
        spans.append((edges, utc(a)))
        edges = utc(b)
    spans.append((edges, utc(end)))
    return Deployment(
        slug=f"{site}-1",
        site=site,
        camera="Meadowlark M1 / 0007",
        watched=tuple(spans),
        gaps=tuple(Gap(start_s=utc(a), end_s=utc(b), reason=reason) for a, b, reason in gaps),
    )


def year(seed: int = 1, *, days: int = 365, start: str = "2025-03-01 00:00", yearly_factor: float = 1.0) -> Evidence:
    """A whole invented reserve: eight sites, six species, gaps, blanks, people, some sequences still unsorted.

    yearly_factor : by how much every rate grows in a year (the truth for tests of change).
    """
    rng = np.random.default_rng(seed)
    begin = utc(start)
    places = sites()
    deployments, rows, unseen = [], [], []
    for index, place in enumerate(places):
        gap_day = float(rng.integers(20, max(days - 25, 21)))
        gap = (begin + gap_day * DAY_S, begin + (gap_day + 4 + 2 * index) * DAY_S)
        stop = begin + days * DAY_S
        gap = (min(gap[0], stop), min(gap[1], stop))
        reason = ("batteries empty", "card full", "lens snowed in", "knocked over")[index % 4]
        deployments.append(
            Deployment(
                slug=f"{place.slug}-1",
                site=place.slug,
                camera=f"Meadowlark M1 / {index + 1:04d}",
                watched=((begin, gap[0]), (gap[1], stop)),
                gaps=(Gap(start_s=gap[0], end_s=gap[1], reason=reason),) if gap[1] > gap[0] else (),
            )
        )
        for key, name, per_day, spread, hours, focus in SPECIES:
            rate = per_day * math.exp(spread * float(rng.normal()))
            for day in range(days):
                here = rate * yearly_factor ** (day / 365.25)
                for _ in range(int(rng.poisson(here))):
                    hour = float(rng.choice(hours)) + float(rng.vonmises(0, focus)) * 24 / (2 * math.pi)
                    when = begin + day * DAY_S + (hour % 24) * 3600 - 3600  # the invented clock is UTC+1
                    if gap[0] <= when < gap[1] or not begin <= when < stop:
                        continue
                    rows.append(
                        Observation(
                            sequence=sha("sequence", place.slug, key, round(when)),
                            deployment=f"{place.slug}-1",
                            site=place.slug,
                            utc_s=round(when),
                            end_s=round(when) + float(rng.integers(0, 90)),
                            species=key,
                            species_name=name,
                            count=int(rng.integers(1, 4)) if key in ("red-deer", "wild-boar") else 1,
                            said_by="Ansa",
                            picture=sha("picture", place.slug, key, round(when)),
                            pictures=int(rng.integers(1, 12)),
                        )
                    )
        for number in range(int(rng.poisson(days / 12))):
            when = begin + float(rng.uniform(0, days)) * DAY_S
            what = ("blank", "blank", "human", "vehicle", "unknown")[number % 5]
            rows.append(
                Observation(
                    sequence=sha("other", place.slug, number),
                    deployment=f"{place.slug}-1",
                    site=place.slug,
                    utc_s=round(when),
                    what=what,
                    said_by="Ansa",
                    picture=sha("other picture", place.slug, number),
                )
            )
        for number in range(int(rng.poisson(2))):
            when = round(begin + float(rng.uniform(0, days)) * DAY_S)
            unseen.append(UnseenSequence(sequence=sha("unseen", place.slug, number), site=place.slug, utc_s=when))
    return Evidence(
        reserve=RESERVE,
        sites=places,
        deployments=tuple(deployments),
        observations=tuple(rows),
        unseen=tuple(unseen),
    )
