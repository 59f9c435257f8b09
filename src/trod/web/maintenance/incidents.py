"""Theft and damage: how often each site loses a camera's days."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from trod.catalogue.models import Deployment, Incident, Site
from trod.planning.visit.maintenance import LossRate, field_days, loss_rate
from trod.telling.maintenance import losses
from trod.web.maintenance.common import spans


@dataclass(frozen=True)
class SiteRate:
    """A site's own rate, and what it may be reckoned with. suggested : a year and camera; None without any incident."""

    site: Site
    rate: LossRate
    suggested: float | None
    borrowed: bool

    @property
    def says(self) -> str:
        """Its own rate in words."""
        return losses(self.rate)

    @property
    def taken(self) -> bool:
        """Whether the site is reckoned with the suggestion already."""
        told = self.site.losses_per_year
        return told is not None and self.suggested is not None and abs(told - self.suggested) < 0.005


def rates(now: datetime) -> tuple[list[SiteRate], LossRate | None]:
    """The rate of each site where a camera ever stood, most often first; and of all together. Three queries."""
    stood: dict[int, list[Deployment]] = defaultdict(list)
    for d in Deployment.objects.only("site", "start", "end"):
        stood[d.site_id].append(d)
    counts: dict[int, int] = defaultdict(int)
    for number in Incident.objects.filter(stopped=True).values_list("site", flat=True):
        counts[number] += 1
    days = {}
    for number, of in stood.items():
        lived = spans(of, now)
        if lived:
            days[number] = field_days(min(a for a, _ in lived), now, lived)
    whole = loss_rate(sum(counts[s] for s in days), sum(days.values()))
    out = []
    for site in Site.objects.filter(pk__in=days):
        rate = loss_rate(counts[site.pk], days[site.pk])
        if rate is None:
            continue
        borrowed = rate.incidents == 0
        own = None if borrowed else rate.per_year
        pooled = whole.per_year if whole and whole.incidents else None
        value = pooled if borrowed else own
        out.append(SiteRate(site, rate, None if value is None else round(min(value, 50.0), 2), borrowed))
    return sorted(out, key=lambda r: (-r.rate.per_year, r.site.name)), whole
