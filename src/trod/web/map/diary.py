"""What people did at a site in a year, and what went wrong there, from the rows: the lines of its diary."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.urls import reverse

from trod import clock
from trod.catalogue.models import ClockCorrection, Deployment, Import, Incident, Site, Visit
from trod.findings.site_year import SiteYear
from trod.telling import site_year as told


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line: its day, what it is (a word to sort by), the sentence, and where it leads."""

    day: date
    kind: str
    text: str
    url: str


def lines(site: Site, known: SiteYear) -> list[Line]:
    """Set-ups, visits, silences, clocks, cards and incidents of a site's year, by day."""
    inside = [line for line in _every(site, known) if line.day.year == known.year or line.kind == "silence"]
    return sorted(inside, key=lambda line: (line.day, line.kind, line.text))


def visit_days(site: Site, year: int) -> list[date]:
    """The days of a year on which somebody was at a site."""
    zone = site.reserve.zone
    days = {clock.local(at, zone).date() for at in Visit.objects.filter(site=site).values_list("at", flat=True)}
    return sorted(day for day in days if day.year == year)


def _every(site: Site, known: SiteYear) -> Iterator[Line]:
    def day(when: datetime) -> date:
        return clock.local(when, site.reserve.zone).date()

    deployments = list(site.deployments.select_related("camera"))
    by_slug = {row.slug: row for row in deployments}
    for row in deployments:
        url = row.get_absolute_url()
        yield Line(day=day(row.start), kind="camera", text=told.stood(str(row.camera), is_start=True), url=url)
        if row.end is not None:
            yield Line(day=day(row.end), kind="camera", text=told.stood(str(row.camera), is_start=False), url=url)
    for visit in site.visits.select_related("deployment"):
        found = visit.get_arrival_display() if visit.deployment_id else ""
        url = reverse("cameras:visit_edit", args=[visit.pk])
        yield Line(day=day(visit.at), kind="visit", text=told.visit(visit.by, found, visit.note), url=url)
    for quiet in known.quiet:
        own: Deployment | None = by_slug.get(quiet.deployment)
        yield Line(
            day=max(quiet.first, date(known.year, 1, 1)),
            kind="silence",
            text=told.silence(quiet.first, quiet.last, quiet.reason, is_open=quiet.open),
            url=own.get_absolute_url() if own else "",
        )
    for one in ClockCorrection.objects.filter(deployment__in=deployments, undone_at__isnull=True).select_related(
        "deployment__camera"
    ):
        text = told.clock(str(one.deployment.camera), one.shift_s, one.drift_s_per_day, one.reason)
        at = one.from_raw.date() if one.from_raw else day(one.deployment.start)
        yield Line(day=at, kind="clock", text=text, url=one.deployment.get_absolute_url())
    for incident in Incident.objects.filter(Q(site=site) | Q(deployment__in=deployments)).distinct():
        yield Line(
            day=incident.found_on,
            kind="incident",
            text=told.incident(incident.get_kind_display(), incident.what, stopped=incident.stopped),
            url=reverse("maintenance:incident_edit", args=[incident.uuid]),
        )
    for card in Import.objects.filter(deployment__in=deployments).order_by("started_at"):
        notes = card.all_notes
        if notes:
            yield Line(
                day=day(card.started_at),
                kind="card",
                text=told.card(notes),
                url=reverse("cards:card_import", args=[card.name]),
            )
