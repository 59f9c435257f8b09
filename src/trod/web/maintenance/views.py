"""The page that leads to all of keeping."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod import clock
from trod.catalogue.models import Incident, Lock
from trod.web.forms.records import the_reserve
from trod.web.maintenance import cards, stock


@require_GET
def maintenance(request: HttpRequest) -> HttpResponse:
    """What stands behind cameras that stay alive, with what needs a hand."""
    now, reserve = timezone.now(), the_reserve()
    today = clock.local(now, reserve.zone if reserve else "UTC").date()
    lines = cards.lines(reserve)
    held = stock.in_stock(today)
    context = {
        "cards": len(lines),
        "doubted": sum(bool(line.doubts) for line in lines),
        "home": sum(line.place == "home" for line in lines),
        "locks": Lock.objects.count(),
        "incidents": Incident.objects.filter(found_on__year=today.year).count(),
        "short": [line for line in held if line.short],
        "things": len(held),
        "waiting": len(stock.to_book(now, [line.item for line in held])),
        "year": today.year,
    }
    return render(request, "trod/maintenance/maintenance.html", context)
