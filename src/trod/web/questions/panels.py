"""The page that lays sites, seasons or years side by side, a small chart each, all on one scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, evidence
from trod.catalogue.answers import panels as asking
from trod.catalogue.answers.evidence import Account
from trod.catalogue.answers.panels import Shown
from trod.catalogue.models import Reserve
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Finding
from trod.web.questions import pages, views
from trod.web.reading import without_waiting

UNITS = {"months": "detections per 100 site-days", "hours": "share of activity per hour"}


@dataclass(frozen=True)
class Part:
    """One part: its name, what is told, its chart if it has one, its pictures, and the question asked of it alone."""

    name: str
    told: str
    figure: str
    url: str
    alone: str
    waiting: str


def find(given: QueryDict, account: Account) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """The answer of an address, or why there is none."""
    found, _ = _ask(given, account)
    return found.finding, found.trouble


def _ask(given: QueryDict, account: Account) -> tuple[Shown, list[str]]:
    asked, problems = views.read(given, account)
    by, show = given.get("each", "") or "site", given.get("show", "") or "months"
    try:
        return asking.ask(account, asked, by, show), problems
    except WrongInput as trouble:
        problems.append(f"{trouble}. It is left out here.")
        return asking.ask(account, asked, "site", "months"), problems


@require_GET
@without_waiting
def panels(request: HttpRequest) -> HttpResponse:
    """Small charts of all sites, seasons or years."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return render(request, "trod/questions.html", {"page": None, "kept": [], "kind": "what-comes"})
    account = evidence.gather(reserve)
    found, problems = _ask(request.GET, account)
    query = answers.query(found.filter)
    own = "&".join(filter(None, (query, f"each={found.by}", f"show={found.show}")))
    return render(
        request,
        "trod/questions_panels.html",
        {
            "problems": problems,
            "finding": found.finding,
            "trouble": found.trouble,
            "filter": found.filter,
            "each": found.by,
            "show": found.show,
            "unit": UNITS[found.show],
            "parts": [_part(row, found, own) for row in found.finding.rows] if found.finding else [],
            "doors": pages.doors(query, "side-by-side"),
            "species": answers.known_species(),
            "sites": answers.known_sites(account),
            "query": own,
        },
    )


def _part(row: Mapping[str, Any], found: Shown, query: str) -> Part:
    where = reverse("questions:door-pictures", args=["side-by-side"])
    kind = "when" if found.show == "hours" else "change" if found.by == "site" else "what-comes"
    return Part(
        name=row["part"],
        told=row["told"],
        figure=found.figures.get(row["key"], ""),
        url=f"{where}?{query}&row={row['key']}" if row["sequence_keys"] else "",
        alone=f"{reverse('questions:question', args=[kind])}?{answers.query(found.alone[row['key']])}",
        waiting=wording.plural(row["waiting"], "sequence waits", "sequences wait") if row["waiting"] else "",
    )
