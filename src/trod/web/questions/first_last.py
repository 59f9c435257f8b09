"""The page that tells what came first and last in each season, and what is known of the days beyond."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, ends, evidence
from trod.catalogue.answers.ends import Ended
from trod.catalogue.answers.evidence import Account
from trod.catalogue.models import Reserve
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Finding
from trod.web.questions import pages, views
from trod.web.reading import without_waiting

OPEN = 2  # seasons that stand open on the page, the newest


@dataclass(frozen=True)
class End:
    """A first or last day: in words, its site, its pictures, and what is known of the days beyond."""

    day: str
    site: str
    url: str
    lines: Sequence[str]


@dataclass(frozen=True)
class Line:
    species: str
    detections: str
    url: str
    first: End
    last: End


def find(given: QueryDict, account: Account) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """The answer of an address, or why there is none."""
    found, _ = _ask(given, account)
    return found.finding, found.trouble


def _ask(given: QueryDict, account: Account) -> tuple[Ended, list[str]]:
    asked, problems = views.read(given, account)
    try:
        each = ends.each_of(given.get("each", ""))
    except WrongInput as trouble:
        each = "season"
        problems.append(f"{trouble}. It is left out here.")
    return ends.ask(account, asked, each), problems


@require_GET
@without_waiting
def first_last(request: HttpRequest) -> HttpResponse:
    """First and last day on record of every kind in every season, or year."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return render(request, "trod/questions.html", {"page": None, "kept": [], "kind": "what-comes"})
    account = evidence.gather(reserve)
    found, problems = _ask(request.GET, account)
    query = answers.query(found.filter)
    if found.each == "year":
        query = "&".join(filter(None, (query, "each=year")))
    return render(
        request,
        "trod/questions_first_last.html",
        {
            "problems": problems,
            "finding": found.finding,
            "trouble": found.trouble,
            "filter": found.filter,
            "each": found.each,
            "groups": _groups(found.finding, query) if found.finding else [],
            "open": OPEN,
            "doors": pages.doors(answers.query(found.filter), "first-last"),
            "species": answers.known_species(),
            "sites": answers.known_sites(account),
            "query": query,
        },
    )


def _groups(finding: Finding, query: str) -> list[tuple[str, str, list[Line]]]:
    """(name of the stretch, its site-days, its lines), newest first."""
    days: Mapping[str, float] = finding.effort["by_stretch"]
    out = []
    for (key, name), rows in groupby(finding.rows, key=lambda row: (row["stretch_key"], row["stretch"])):
        out.append((name, wording.days_number(days[key]), [_line(row, query) for row in rows]))
    return out


def _line(row: Mapping[str, Any], query: str) -> Line:
    where = f"{reverse('questions:door-pictures', args=['first-last'])}?{query}{'&' if query else ''}row={row['key']}"
    return Line(
        species=row["species"],
        detections=wording.count(row["detections"]),
        url=where,
        first=_end(row, "first", where),
        last=_end(row, "last", where),
    )


def _end(row: Mapping[str, Any], which: str, where: str) -> End:
    return End(
        day=wording.short_day(date.fromisoformat(row[which])),
        site=row[f"{which}_site"],
        url=f"{where}&end={which}",
        lines=row[f"told_{which}"],
    )
