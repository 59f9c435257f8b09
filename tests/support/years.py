"""An invented reserve of some years, thrown month by month, for tests of change."""

from __future__ import annotations

import math
from dataclasses import replace

import invented
import numpy as np

from trod.findings import Deployment, Evidence, Site, UnseenSequence

SITES = tuple(f"s{n}" for n in range(8))
RESERVE = replace(invented.RESERVE, zone="UTC")


def reserve_of(
    *,
    months: int = 36,
    a_month: float = 6.0,
    yearly: float = 1.0,
    season: float = 0.0,
    seed: int = 1,
    second_from: int | None = None,
    only_months: tuple[int, ...] = (),
    others: int = 0,
) -> Evidence:
    """Eight sites from January 2023; detections singly, at random. yearly : the true factor a year.

    season : of the log rate, highest in June. second_from : from this month on half the sites have a second, better
    camera. others : hares at each site in a month.
    """
    rng = np.random.default_rng(seed)
    starts = [invented.utc(f"{2023 + n // 12}-{n % 12 + 1:02d}-01 00:00") for n in range(months + 1)]
    deployments, rows = [], []
    for index, site in enumerate(SITES):
        spans = tuple((starts[n], starts[n + 1]) for n in range(months) if not only_months or n % 12 + 1 in only_months)
        deployments.append(Deployment(slug=f"{site}-1", site=site, line_up="M1", watched=spans))
        doubled = second_from is not None and index % 2 == 0
        if doubled:
            deployments.append(
                Deployment(slug=f"{site}-2", site=site, line_up="M2", watched=((starts[second_from], starts[-1]),))
            )
        level = a_month * math.exp(0.5 * rng.normal())
        for n in range(months):
            if only_months and n % 12 + 1 not in only_months:
                continue
            mean = level * yearly ** (n / 12) * math.exp(-season * math.cos(2 * math.pi * (n % 12 + 0.5) / 12))
            if doubled and second_from is not None and n >= second_from:
                mean *= 1.8
            for species, many in (("red-deer", rng.poisson(mean)), ("brown-hare", others)):
                for at in np.sort(rng.uniform(starts[n], starts[n + 1], many)):
                    rows.append(invented.observation(species, float(at), site=site, deployment=f"{site}-1"))
    return Evidence(
        reserve=RESERVE,
        sites=tuple(Site(slug=s, name=s.upper(), latitude_deg=47.3, longitude_deg=12.8) for s in SITES),
        deployments=tuple(deployments),
        observations=tuple(rows),
        review_order="time",
    )


def left_unreviewed(evidence: Evidence, *, since: str, share: float, seed: int = 4) -> Evidence:
    """Of the sequences since a day so many, by chance, are not reviewed yet."""
    rng = np.random.default_rng(seed)
    kept, waiting = [], []
    for row in evidence.observations:
        if row.utc_s >= invented.utc(since) and rng.random() < share:
            waiting.append(UnseenSequence(sequence=row.sequence, site=row.site, utc_s=row.utc_s))
        else:
            kept.append(row)
    return replace(evidence, observations=tuple(kept), unseen=tuple(waiting))
