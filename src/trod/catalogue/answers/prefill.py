"""What a site's own records say of what the settings adviser asks; each answer with where it is from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median
from typing import Any, get_args

from trod.catalogue.answers.summary import summaries
from trod.catalogue.models import Card, DaySum, Deployment, Site
from trod.catalogue.rows import usual
from trod.planning.ground.site import Cover
from trod.planning.last import arrivals
from trod.planning.place.adviser import Aim

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
    herd: int
    cover: str
    triggers: Guess
    night_share: Guess
    days: Guess
    card_gb: Guess


def start_of(site: Site, now: datetime) -> Start:
    """What to begin with at a site. A fixed number of queries."""
    deployments = list(site.deployments.select_related("camera__model", "card").order_by("-start"))
    standing = next((d for d in deployments if d.end is None), None)
    feature = usual.feature(site)
    prior = arrivals.prior_for(feature, latitude_deg=site.latitude)
    ground = site.ground if isinstance(site.ground, dict) else {}
    cover = ground.get("cover")
    every = usual.days(site)
    return Start(
        model=usual.model(site),
        animal=usual.animal(site, every),
        aim=usual.aim(site),
        herd=usual.herd(site, every),
        cover=str(cover) if cover in get_args(Cover) else "open",
        triggers=_triggers(site, deployments, every, prior, now),
        night_share=_night(every, prior),
        days=_days(site),
        card_gb=_card(standing),
    )


def inputs(site: Site, now: datetime) -> dict[str, Any]:
    """The same as inputs, for the placement planner: what is expected of a site is one and the same on both pages."""
    start = start_of(site, now)
    return {
        "triggers": start.triggers.value,
        "night_share": start.night_share.value,
        "days": start.days.value,
        "card_gb": start.card_gb.value,
    }


def _triggers(
    site: Site, deployments: list[Deployment], every: list[DaySum], prior: arrivals.Prior, now: datetime
) -> Guess:
    sums = summaries(deployments, site.reserve)
    days = sum(one.days_watched for one in sums.values())
    # Pictures of one burst are one trigger, as far as the deployment says how it was set.
    bursts = {d.pk: max(1, d.burst) if d.mode == Deployment.Mode.PICTURE else 1 for d in deployments}
    triggers = sum(one.frames / bursts[one.deployment_id] for one in every)
    if days >= FEWEST_DAYS:
        return Guess(_few(triggers / days), f"from {days:.0f} camera-days of this site's cards")
    return Guess(_few(prior.level_per_day), prior.source)


def _few(triggers: float) -> float:
    """Two figures, and no finer than a box of the placement planner shows: what is told there is reckoned with there."""
    return max(0.01, round(float(f"{triggers:.2g}"), 2)) if triggers > 0 else 0.0


def _night(every: list[DaySum], prior: arrivals.Prior) -> Guess:
    dark = sum(one.dark for one in every)
    n = dark + sum(one.light for one in every)
    if n >= 20:
        return Guess(round(dark / n, 2), f"from {n} sequences of this site's cards")
    return Guess(round(prior.night_share, 2), prior.source)


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
