"""What a site's own records say of what the settings adviser asks; each answer with where it is from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median
from typing import Any, get_args

from django.db.models import Count, Q, Sum

from trod.planning import arrivals, season
from trod.planning.adviser import Aim
from trod.planning.animals import ANIMALS
from trod.planning.site import Cover
from trod.planning.site import Feature as PlanFeature
from trod.web.models import Camera, CameraModel, Card, Deployment, Event, Sighting, Site, Species
from trod.web.today.summary import summaries

FEWEST_DAYS = 5.0  # camera-days from which the site's own cards go before the usual figure. Ours.
USUAL_DAYS = 60.0
USUAL_CARD_GB = 32.0


@dataclass(frozen=True)
class Guess:
    """A value to begin with, and where it is from."""

    value: Any
    why: str


@dataclass(frozen=True, kw_only=True)
class Start:
    """All that the form begins with."""

    model: str
    animal: str
    aim: Aim
    cover: str
    triggers: Guess
    night_share: Guess
    days: Guess
    card_gb: Guess


def feature_of(site: Site) -> PlanFeature:
    """A site's feature as the planning room knows it; other for a word it does not know."""
    return site.feature if site.feature in get_args(PlanFeature) else "other"  # type: ignore[return-value]


def start_of(site: Site, now: datetime) -> Start:
    """What to begin with at a site. A fixed number of queries."""
    deployments = list(site.deployments.select_related("camera__model", "card").order_by("-start"))
    standing = next((d for d in deployments if d.end is None), None)
    feature = feature_of(site)
    prior = arrivals.prior_for(feature, latitude_deg=site.latitude)
    ground = site.ground if isinstance(site.ground, dict) else {}
    cover = ground.get("cover")
    answers = sorted(season.ANSWERS[feature].items(), key=lambda item: -item[1][0])
    return Start(
        model=_model(standing),
        animal=_animal(site),
        aim=answers[0][0] if answers else "species",
        cover=cover if cover in get_args(Cover) else "open",
        triggers=_triggers(site, deployments, prior, now),
        night_share=_night(site, prior),
        days=_days(site),
        card_gb=_card(standing),
    )


def _model(standing: Deployment | None) -> str:
    if standing is not None and standing.camera.model is not None:
        return str(standing.camera.model.slug)
    ready = Camera.objects.filter(state=Camera.State.READY, model__isnull=False).select_related("model").first()
    if ready is not None and ready.model is not None:
        return str(ready.model.slug)
    first = CameraModel.objects.first()
    return first.slug if first is not None else ""


def _animal(site: Site) -> str:
    """The animal of the planning table that people saw most here; else the reserve's first hoofed one."""
    by_name = {animal.scientific.casefold(): animal for animal in ANIMALS}
    seen = (
        Sighting.objects.filter(word__event__deployment__site=site, species__isnull=False)
        .values_list("species__scientific_name")
        .annotate(n=Count("id"))
        .order_by("-n", "species__scientific_name")[:12]
    )
    for name, _ in seen:
        if (found := by_name.get(name.strip().casefold())) is not None:
            return found.key
    names = Species.objects.filter(active=True).values_list("scientific_name", flat=True)
    own = [by_name[n.strip().casefold()] for n in names if n.strip().casefold() in by_name] or list(ANIMALS)
    return next((animal for animal in own if animal.build == "deer"), own[0]).key


def _triggers(site: Site, deployments: list[Deployment], prior: arrivals.Prior, now: datetime) -> Guess:
    sums = summaries(deployments, site.reserve, now)
    days = sum(one.days_watched for one in sums.values())
    # Pictures of one burst are one trigger, as far as the deployment says how it was set.
    bursts = {d.pk: max(1, d.burst) if d.mode == Deployment.Mode.PICTURE else 1 for d in deployments}
    frames = (
        Event.objects.filter(deployment__site=site, time_lapse=False)
        .order_by()
        .values_list("deployment")
        .annotate(n=Sum("frames"))
    )
    triggers = sum(n / bursts[deployment] for deployment, n in frames)
    if days >= FEWEST_DAYS:
        return Guess(float(f"{triggers / days:.2g}"), f"from {days:.0f} camera-days of this site's cards")
    return Guess(float(f"{prior.level_per_day:.2g}"), prior.source)


def _night(site: Site, prior: arrivals.Prior) -> Guess:
    count = Event.objects.filter(deployment__site=site, time_lapse=False, infrared__isnull=False).aggregate(
        n=Count("id"), dark=Count("id", filter=Q(infrared=True))
    )
    if count["n"] >= 20:
        return Guess(round(count["dark"] / count["n"], 2), f"from {count['n']} events of this site's cards")
    return Guess(prior.night_share, prior.source)


def _days(site: Site) -> Guess:
    at = list(site.visits.order_by("-at").values_list("at", flat=True)[:8])
    gaps = [(a - b).total_seconds() / 86_400 for a, b in pairwise(at)]
    gaps = [gap for gap in gaps if gap >= 1]
    if len(gaps) >= 2:
        return Guess(float(round(median(gaps))), f"as between the last {len(gaps) + 1} visits")
    return Guess(USUAL_DAYS, "assumed")


def _card(standing: Deployment | None) -> Guess:
    if standing is not None and standing.card is not None and standing.card.size_gb:
        return Guess(standing.card.size_gb, f"card {standing.card} is in the camera here")
    last = Card.objects.filter(size_gb__isnull=False).order_by("-pk").first()
    if last is not None:
        return Guess(last.size_gb, f"as card {last}")
    return Guess(USUAL_CARD_GB, "assumed")
