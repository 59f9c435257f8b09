"""What Today shows, as one record, gathered with a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Sum

from trod import clock, wording
from trod.catalogue.answers.summary import summaries
from trod.catalogue.forecasts import forecasts
from trod.catalogue.forecasts.forecasts import Kept
from trod.catalogue.imports import clock_checks
from trod.catalogue.models import Camera, Deployment, Import, Reserve, Site, Visit
from trod.catalogue.rounds import not_visited
from trod.web.shared.timeline_lines import ahead_of, timelines
from trod.web.shared.timelines import Timeline
from trod.web.today import needs as n

NOTHING_KEPT = Kept(forecasts={}, made_at=None, stale=False)
SPANS = (90, 182, 365, 730)  # days a person may choose for the activity timelines


@dataclass(frozen=True)
class Today:
    """The whole page. last : the last day of the activity timelines; beyond today where something is foretold.

    first_steps : what to do first, when there is little yet: (done, sentence, action, url name). kept : the
    forecasts that are shown. unmade : standing cameras of which no forecast is kept yet.
    """

    now: datetime
    today: date
    needs: list[n.Need]
    timelines: list[Timeline]
    first: date
    last: date
    days: int
    first_steps: list[tuple[bool, str, str, str]]
    kept: Kept = NOTHING_KEPT
    unmade: bool = False

    @property
    def span(self) -> int:
        """Days from the activity timelines' first to their last, the foretold ones with them."""
        return (self.last - self.first).days + 1

    @property
    def forecast_age(self) -> str:
        """How old the forecasts are, and what of it."""
        if self.kept.made_at is None:
            return ""
        said = f"Forecasts were worked out {forecasts.age(self.kept.made_at, self.now)}."
        if self.kept.stale or self.unmade:
            said += " Something has changed since: they are being worked out anew."
        return said


def gather(reserve: Reserve | None, now: datetime, *, days: int = 365) -> Today:
    """All of the page, for a reserve at an instant."""
    zone = reserve.zone if reserve else "UTC"
    today = clock.local(now, zone).date()
    first = today - timedelta(days=days - 1)
    steps = first_steps(reserve)
    if reserve is None:
        return Today(now, today, [], [], first, today, days, steps)
    deployments = list(
        Deployment.objects.filter(site__reserve=reserve)
        .select_related("camera", "site__reserve", "card")
        .order_by("start")
    )
    visits: dict[int, list[Visit]] = {}
    for visit in Visit.objects.filter(deployment__site__reserve=reserve).select_related("card_out").order_by("at"):
        if visit.deployment_id is not None:
            visits.setdefault(visit.deployment_id, []).append(visit)
    homes: dict[int, datetime] = {}
    sizes: dict[int, float] = {}
    for row in (
        Import.objects.filter(deployment__isnull=False, state=Import.State.WHOLE)
        .values("deployment", "started_at")
        .annotate(sum_bytes=Sum("bytes"), sum_files=Sum("files"))
        .order_by()
    ):
        number = row["deployment"]
        homes[number] = max(row["started_at"], homes.get(number, row["started_at"]))
        if row["sum_files"]:
            sizes[number] = row["sum_bytes"] / row["sum_files"]
    sums = summaries(deployments, reserve)
    standing = [d for d in deployments if d.end is None]
    kept = forecasts.kept(reserve, now)
    foretold = {d.slug: kept.forecasts[d.slug] for d in standing if d.slug in kept.forecasts}
    clock_faults = clock_checks.waiting(reserve)
    wrong_times = {row.deployment_id for row, _, _ in clock_faults if row.deployment_id is not None}
    by_visit = n.wrong_clocks(deployments, visits, sums)
    found = [
        *n.silent_cameras(standing, visits, sums, now, foretold, sizes, wrong_times),
        *n.stopping_cameras(standing, foretold, today),
        *n.not_reached(not_visited.waiting(reserve), zone),
        *n.cards_not_home(deployments, homes, visits, now),
        *n.work_stuck(),
        *by_visit.values(),
        *n.clocks_by_cards(clock_faults, by_visit),
        *n.unseen_sequences(zone),
        *n.unnamed_species(),
        *n.lapse_gaps(deployments, sums),
        *n.empty_sites(reserve),
        *n.short_questions(),
    ]
    last = today + timedelta(days=days // 3) if foretold else today
    lines = timelines(deployments, sums, visits, zone, first, today, foretold)
    unmade = any(d.slug not in foretold for d in standing)
    return Today(now, today, n.in_order(found), lines, first, last, days, steps, kept, unmade)


def first_steps(reserve: Reserve | None) -> list[tuple[bool, str, str, str]]:
    """The way from nothing to the first card; empty once a card has been imported."""
    if Import.objects.exists():
        return []
    return [
        (reserve is not None, "Write down your reserve.", "The reserve", "people:reserve"),
        (
            Site.objects.exists(),
            "Put your first site on the ground, or bring many from a list or a GPX file.",
            "New site",
            "map:site_new",
        ),
        (
            Camera.objects.exists(),
            "Write down your first camera by its serial.",
            "New camera",
            "cameras:camera_new",
        ),
        (
            Deployment.objects.exists(),
            "Say which camera stands where, and since when.",
            "New deployment",
            "cameras:deployment_new",
        ),
        (False, "Import a card.", "Cards", "cards:cards"),
    ]


def told_of(line: Timeline, kept: Kept) -> list[dict[str, object]]:
    """The forecasts of a line's cameras in words, for the table."""
    of = [kept.forecasts[s.deployment] for s in line.stays if s.end is None and s.deployment in kept.forecasts]
    rows: list[dict[str, object]] = []
    for told in of:
        words = ahead_of(told).words
        rows.append({"when": wording.capital(words), "go_by": told.go_by, "deployment": told.deployment})
    return rows
