"""The demo's stock, incidents and locks as rows. All invented."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from trod.catalogue.models import (
    Booking,
    CostYear,
    Deployment,
    Incident,
    Lock,
    Reserve,
    Site,
    StockItem,
    Visit,
)
from trod_demo import past, upkeep

SPACE = uuid.UUID("6f0c5d1e-9a35-4c1b-8d9d-5f2f6a2f7f10")


def keep(reserve: Reserve, until: date) -> None:
    """Put them into the catalogue; doing it again changes nothing. until : the demo's last day."""
    sites = {site.slug: site for site in Site.objects.filter(reserve=reserve)}
    by = past.TECHNICIANS[0]
    _shelf(until, by)
    CostYear.objects.update_or_create(
        uuid=_uuid("costs"),
        defaults={
            "reserve": reserve,
            "year": until.year,
            "currency": upkeep.CURRENCY,
            "travel_km": upkeep.TRAVEL_KM,
            "price_per_km": upkeep.PRICE_PER_KM,
        },
    )
    for slug, kind, days_ago, what, cost in upkeep.INCIDENTS:
        found_on = until - timedelta(days=days_ago)
        deployment = _stood(sites[slug], found_on)
        Incident.objects.update_or_create(
            uuid=_uuid("incident", slug),
            defaults={
                "site": sites[slug],
                "deployment": deployment,
                "camera": deployment.camera if deployment else None,
                "found_on": found_on,
                "kind": kind,
                "stopped": kind == Incident.Kind.FAULT,
                "what": what,
                "cost": cost,
                "by": by,
            },
        )
    for label, kind, slug, number in upkeep.LOCKS:
        Lock.objects.update_or_create(
            uuid=_uuid("lock", label),
            defaults={"label": label, "kind": kind, "site": sites[slug], "key_number": number, "note": "invented"},
        )


def _uuid(*parts: str) -> uuid.UUID:
    return uuid.uuid5(SPACE, "/".join(parts))


def _stood(site: Site, day: date) -> Deployment | None:
    """The deployment that stood at a site on the evening before a day."""
    noon = datetime.combine(day, time(0), UTC)
    return site.deployments.filter(start__lt=noon).order_by("-start").first()


def _shelf(until: date, by: str) -> None:
    """What was bought at the year's beginning, and what its visits took from it."""
    items: dict[str, StockItem] = {}
    for one in upkeep.STOCK:
        items[one.name], _ = StockItem.objects.update_or_create(
            uuid=_uuid("stock", one.name),
            defaults={
                "name": one.name,
                "kind": one.kind,
                "designation": one.designation,
                "unit_price": one.price,
                "least": one.least,
                "place": "ranger's hut",
            },
        )
        _book(items[one.name], "bought", until - timedelta(days=360), one.count, by, Booking.Why.BOUGHT)
    words = {"lithium": "AA lithium", "alkaline": "AA alkaline", "NiMH": "AA rechargeable"}
    changed = Visit.objects.filter(batteries_changed=True, deployment__isnull=False, at__year=until.year)
    for visit in changed.select_related("deployment").order_by("at"):
        text = visit.deployment.batteries if visit.deployment else ""
        name = next((name for identification, name in words.items() if identification in text), None)
        number = text.split()[0]
        if name and number.isdigit():
            _book(items[name], str(visit.uuid), visit.at, -int(number), visit.by, Booking.Why.USED, visit)


def _book(
    item: StockItem, key: str, at: date | datetime, change: int, by: str, why: str, visit: Visit | None = None
) -> Any:
    moment = at if isinstance(at, datetime) else datetime.combine(at, time(9), UTC)
    Booking.objects.update_or_create(
        uuid=_uuid("booking", item.name, key),
        defaults={
            "item": item,
            "at": moment,
            "change": change,
            "why": why,
            "visit": visit,
            "unit_price": item.unit_price,
            "by": by,
        },
    )
