from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod.catalogue.models import Reserve
from trod.web.addresses import whole
from trod.web.shared import timelines
from trod.web.today import pages


@require_GET
def today(request: HttpRequest) -> HttpResponse:
    asked = whole(request.GET.get("days", ""))
    days = asked if asked in pages.SPANS else 365
    page = pages.gather(Reserve.objects.order_by("id").first(), timezone.now(), days=days)
    lines = [
        {
            "timeline": line,
            "svg": timelines.draw(line, first=page.first, last=page.last, today=page.today),
            "hover": timelines.hover(line, first=page.first, last=page.today),
            "ahead": timelines.hover_ahead(line, today=page.today, last=page.last),
            "told": pages.told_of(line, page.kept),
            "cameras": ", ".join(dict.fromkeys(s.camera for s in line.stays if s.end is None)),
            "days_out": line.days_out(page.first, page.today),
            "sequences": sum(n for day, n in line.counts.items() if page.first <= day <= page.today),
            "gap_days": sum(
                (min(b, page.today) - max(a, page.first)).days + 1
                for a, b in line.gaps
                if b >= page.first and a <= page.today
            ),
            "last_visit": max(line.visits, default=None),
        }
        for line in page.timelines
    ]
    shown, folded = page.needs[:12], page.needs[12:]
    return render(
        request,
        "trod/today.html",
        {
            "page": page,
            "shown": shown,
            "folded": folded,
            "lines": lines,
            "hatchings": timelines.hatchings(),
            "months": [
                {
                    "label": label,
                    "left": f"{place * 100:.2f}",
                    "year": year,
                }
                for label, place, year in timelines.months(page.first, page.last)
            ],
            "spans": pages.SPANS,
            "shades": [
                {"shade": k + 1, "label": f"{low}–{timelines.SHADES[k + 1] - 1}" if k < 4 else f"{low} or more"}
                for k, low in enumerate(timelines.SHADES)
            ],
        },
    )
