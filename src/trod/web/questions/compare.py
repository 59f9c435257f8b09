"""The page that puts two periods, or two sites, side by side."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, evidence, side_by_side
from trod.catalogue.answers.evidence import Account
from trod.catalogue.models import Reserve
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding
from trod.web.questions import pages
from trod.web.reading import without_waiting


def sides_of(given: QueryDict, account: Account) -> tuple[Filter, Filter]:
    """Both filters of an address. Raises WrongInput."""
    return side_by_side.make_filters(
        account,
        species=[name for name in given.getlist("species") if name],
        sites=[site for site in given.getlist("site") if site],
        against_sites=[site for site in given.getlist("against-site") if site],
        first=given.get("from", ""),
        last=given.get("to", ""),
        against_first=given.get("against-from", ""),
        against_last=given.get("against-to", ""),
        light=given.get("light", "") or "any",
    )


def find(given: QueryDict, account: Account) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """The answer of an address, or why there is none. Raises WrongInput."""
    found = side_by_side.ask(account, *sides_of(given, account))
    return found.finding, found.trouble


@require_GET
@without_waiting
def compare(request: HttpRequest) -> HttpResponse:
    """Two periods of the same sites, or two sites in the same time."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return render(request, "trod/questions.html", {"page": None, "kept": [], "kind": "change"})
    account = evidence.gather(reserve)
    given = request.GET
    asked = any(given.get(name) for name in ("from", "to", "against-from", "against-to", "site", "against-site"))
    problem, found, sides = "", None, (Filter(), Filter())
    try:
        sides = sides_of(given, account)
        if asked:
            found = side_by_side.ask(account, *sides)
    except WrongInput as trouble:
        problem = (
            f"Not asked: there are {trouble.got}; it takes {trouble.needed}."
            if trouble.what == "compare"
            else (f"{wording.capital(trouble.what)} cannot be {trouble.got!r}; it takes {trouble.needed}.")
        )
    finding = found.finding if found else None
    today = timezone.now().astimezone(reserve.zone_info).date()
    return render(
        request,
        "trod/questions_compare.html",
        {
            "problem": problem,
            "finding": finding,
            "trouble": found.trouble if found else None,
            "rows": _rows(finding),
            "query": given.urlencode(),
            "intervals": pages.intervals_of(finding) if finding else (),
            "number": pages.number_of(finding) if finding else "",
            "p": _p(finding),
            "species": answers.known_species(),
            "sites": answers.known_sites(account),
            "first": sides[0],
            "second": sides[1],
            "site": next(iter(given.getlist("site")), ""),
            "against_site": next(iter(given.getlist("against-site")), ""),
            "usual": _usual(today),
        },
    )


def _rows(finding: Any) -> list[tuple[str, str, str, str, str]]:
    if finding is None:
        return []
    return [
        (
            row["side"],
            wording.count(row["detections"]),
            wording.number(row["site_days"]),
            "–" if row["rate"] is None else wording.number(row["rate"]),
            row["key"] if row["sequence_keys"] else "",
        )
        for row in finding.rows
    ]


def _p(finding: Any) -> str:
    """The test's p, no finer than it is worth; '' without."""
    p = finding.series["compare"]["p"] if finding else None
    if p is None:
        return ""
    return "under 0.001" if p < 0.001 else wording.number(p, 2)


def _usual(today: date) -> tuple[date, date, date, date]:
    """Last whole year against the one before, for an empty form."""
    year = today.year - 1
    return date(year, 1, 1), date(year, 12, 31), date(year - 1, 1, 1), date(year - 1, 12, 31)
