"""What a year cost, from bookings, incidents, and the way as it was typed."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from django.db.models import Count

from trod.catalogue.models import Booking, CostYear, Deployment, Incident, Reserve, StockItem, Visit
from trod.planning.visit.maintenance import (
    CostKind,
    Spent,
    YearCosts,
    field_days,
    year_costs,
    year_span,
)

KINDS: dict[str, CostKind] = {StockItem.Kind.BATTERIES: "batteries", StockItem.Kind.CARDS: "cards"}


def typed(reserve: Reserve | None, year: int) -> CostYear:
    """What was typed for the year; else a new row with the last year's currency and price."""
    rows = list(CostYear.objects.filter(reserve=reserve, year__lte=year).order_by("-year")[:1])
    if rows and rows[0].year == year:
        return rows[0]
    last = rows[0] if rows else None
    return CostYear(
        reserve=reserve,
        year=year,
        currency=last.currency if last else "",
        price_per_km=last.price_per_km if last else None,
    )


def year(reserve: Reserve | None, number: int, now: datetime, of: CostYear) -> YearCosts:
    """A calendar year, in UTC, by site. Bought things cost when they are used, not when they are bought."""
    start, until = year_span(number, now)
    spent = []
    used = Booking.objects.filter(
        why__in=[Booking.Why.USED, Booking.Why.LOST], change__lt=0, at__gte=start, at__lt=until
    ).select_related("item", "visit__site")
    for b in used:
        spent.append(
            Spent(
                kind=KINDS.get(b.item.kind, "other"),
                site=b.visit.site.name if b.visit else "",
                amount=None if b.unit_price is None else -b.change * b.unit_price,
            )
        )
    for m in Incident.objects.filter(found_on__year=number).select_related("site"):
        spent.append(Spent(kind="incidents", site=m.site.name, amount=m.cost))
    days: dict[str, float] = defaultdict(float)
    for d in Deployment.objects.filter(start__lt=until).select_related("site"):
        if d.end is None or d.end > start:
            days[d.site.name] += field_days(start, until, [(d.start, min(d.end or until, until))])
    visits = dict(
        Visit.objects.filter(at__gte=start, at__lt=until)
        .values_list("site__name")
        .annotate(n=Count("pk"))
        .values_list("site__name", "n")
    )
    return year_costs(spent, visits=visits, camera_days=days, travel_km=of.travel_km, price_per_km=of.price_per_km)
