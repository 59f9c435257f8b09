"""The page that leads to all of keeping."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod import watch
from trod.web.keeping import cards, stock
from trod.web.keeping.common import HERE, the_reserve
from trod.web.models import Lock, Mishap


@require_GET
def keeping(request: HttpRequest) -> HttpResponse:
    """What stands behind cameras that stay alive, with what needs a hand."""
    now, reserve = timezone.now(), the_reserve()
    today = watch.local(now, reserve.zone if reserve else "UTC").date()
    lines = cards.lines(reserve)
    shelf = stock.shelf(today)
    context = {
        "cards": len(lines),
        "doubted": sum(bool(line.doubts) for line in lines),
        "home": sum(line.place == "home" for line in lines),
        "locks": Lock.objects.count(),
        "mishaps": Mishap.objects.filter(found_on__year=today.year).count(),
        "short": [line for line in shelf if line.short],
        "things": len(shelf),
        "waiting": len(stock.to_book(now, [line.item for line in shelf])),
        "year": today.year,
        **HERE,
    }
    return render(request, "trod/keeping/keeping.html", context)
