"""A site's year on one sheet: effort, what came, visits, silences, and troubles with clocks and cards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import evidence
from trod.catalogue.models import Site
from trod.drawing import year as drawing
from trod.findings import site_year
from trod.findings.site_year import SiteYear
from trod.telling import site_year as told
from trod.web.map import diary
from trod.web.reading import without_waiting


@dataclass(frozen=True)
class Cell:
    """A month's number, and where it leads; '' for nothing."""

    text: str
    url: str = ""


@dataclass(frozen=True)
class Row:
    """A line of the months' table. all : of the whole year."""

    name: str
    cells: Sequence[Cell]
    all: Cell
    small: str = ""


@require_GET
@without_waiting
def year(request: HttpRequest, slug: str, year: int) -> HttpResponse:
    """One calendar year of a site."""
    site = get_object_or_404(Site.objects.select_related("reserve"), slug=slug)
    if not 1970 <= year <= 2200:
        raise Http404("No such year.")
    account = evidence.gather(site.reserve)
    known = site_year.site_year(account.evidence, slug, year)
    every = site_year.years(account.evidence, slug)
    sentence = told.sentence(known)
    visits = diary.visit_days(site, year)
    anything = bool(known.watched or known.kinds or known.quiet or any(month.waiting for month in known.months))
    return render(
        request,
        "trod/map/year.html",
        {
            "site": site,
            "year": year,
            "years": every,
            "sentence": sentence,
            "cautions": told.cautions(known),
            "anything": anything,
            "figure": drawing.figure(known, visits, f"{sentence} Week by week; the same months stand in the table.")
            if anything
            else "",
            "more_kinds": max(0, len(known.kinds) - drawing.MOST_KINDS),
            "months": wording.SHORT_MONTHS,
            "effort": _effort(known),
            "kinds": _kinds(known),
            "lines": diary.lines(site, known),
        },
    )


def _days(days: float) -> Cell:
    return Cell(wording.days_number(days) if days >= 0.05 else "·")


def _effort(known: SiteYear) -> list[Row]:
    """Watched, open and lost days, and what waits for review."""
    rows = [
        Row(name, [_days(getattr(month, key)) for month in known.months],
            _days(sum(getattr(month, key) for month in known.months)), small)
        for key, name, small in (
            ("watched", "Watched", "site-days"),
            ("open", "Open", "nobody knows"),
            ("lost", "Not watched", "a camera stood there"),
        )
    ]  # fmt: skip
    waits = [_waiting(known.site, *_month(known.year, n), month.waiting) for n, month in enumerate(known.months, 1)]
    first, last = date(known.year, 1, 1), date(known.year, 12, 31)
    every = _waiting(known.site, first, last, sum(month.waiting for month in known.months))
    return [*rows, Row("Waiting", waits, every, "sequences to review")]


def _waiting(site: str, first: date, last: date, many: int) -> Cell:
    where = urlencode({"site": site, "from": first.isoformat(), "to": last.isoformat()})
    return Cell(wording.count(many), f"{reverse('review:review')}?{where}") if many else Cell("·")


def _kinds(known: SiteYear) -> list[Row]:
    """Detections of every kind by month, each opening its pictures."""
    out = []
    for kind in known.kinds:
        cells = [
            _count(known.site, kind.species, *_month(known.year, n), len(found))
            for n, found in enumerate(kind.by_month, 1)
        ]
        first, last = date(known.year, 1, 1), date(known.year, 12, 31)
        out.append(Row(kind.name, cells, _count(known.site, kind.species, first, last, len(kind.found))))
    return out


def _count(site: str, species: str, first: date, last: date, many: int) -> Cell:
    if not many:
        return Cell("·")
    where = urlencode({"site": site, "from": first.isoformat(), "to": last.isoformat(), "row": species})
    return Cell(wording.count(many), f"{reverse('questions:behind', args=['what-comes'])}?{where}")


def _month(year: int, number: int) -> tuple[date, date]:
    """First and last day of a month."""
    after = date(year + number // 12, number % 12 + 1, 1)
    return date(year, number, 1), after - timedelta(days=1)
