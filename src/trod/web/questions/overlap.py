"""The page that tells whether two sides share their hours: two kinds, people and a kind, two periods, two sites."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import json_script
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, evidence, side_by_side
from trod.catalogue.answers.evidence import Account
from trod.catalogue.models import Reserve
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding
from trod.findings.shared_hours import PEOPLE
from trod.report import charts
from trod.web.questions import pages
from trod.web.reading import without_waiting
from trod.web.shared import script


def sides_of(given: QueryDict, account: Account) -> tuple[Filter, Filter]:
    """Both filters of an address. Raises WrongInput."""
    return side_by_side.make_filters(
        account,
        species=[name for name in given.getlist("species") if name],
        against_species=[name for name in given.getlist("against-species") if name],
        sites=[site for site in given.getlist("site") if site],
        against_sites=[site for site in given.getlist("against-site") if site],
        first=given.get("from", ""),
        last=given.get("to", ""),
        against_first=given.get("against-from", ""),
        against_last=given.get("against-to", ""),
    )


def find(given: QueryDict, account: Account) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """The answer of an address, or why there is none. Raises WrongInput."""
    people = PEOPLE in given.getlist("against-species")
    found = side_by_side.ask_overlap(account, *sides_of(given, account), people=people)
    return found.finding, found.trouble


@require_GET
@without_waiting
def overlap(request: HttpRequest) -> HttpResponse:
    """How far two sides share their hours of the day."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return render(request, "trod/questions.html", {"page": None, "kept": [], "kind": "when"})
    account = evidence.gather(reserve)
    given = request.GET
    against = [name for name in given.getlist("against-species") if name]
    asked = bool(against) or any(given.get(name) for name in ("against-from", "against-to", "against-site"))
    problem, found, sides = "", None, (Filter(), Filter())
    try:
        sides = sides_of(given, account)
        if asked:
            found = side_by_side.ask_overlap(account, *sides, people=PEOPLE in against)
    except WrongInput as trouble:
        problem = (
            f"Not asked: there are {trouble.got}; it takes {trouble.needed}."
            if trouble.what == "overlap"
            else f"{wording.capital(trouble.what)} cannot be {trouble.got!r}; it takes {trouble.needed}."
        )
    finding = found.finding if found else None
    spec = charts.chart(finding, "light") if finding else None
    return render(
        request,
        "trod/questions_overlap.html",
        {
            "problem": problem,
            "finding": finding,
            "trouble": found.trouble if found else None,
            "rows": _rows(finding),
            "query": given.urlencode(),
            "number": pages.number_of(finding) if finding and finding.value is not None else "",
            "statistics": _statistics(finding),
            "chart": spec and _script_of(spec),
            "caption": charts.caption(finding) if finding and spec else "",
            "charts_url": reverse("questions:charts_script", args=[script.stamp()]),
            "species": answers.known_species(),
            "sites": answers.known_sites(account),
            "people": PEOPLE,
            "first": sides[0],
            "second": sides[1],
            "against": next(iter(against), ""),
            "site": next(iter(given.getlist("site")), ""),
            "against_site": next(iter(given.getlist("against-site")), ""),
        },
    )


def _script_of(spec: dict[str, Any]) -> str:
    """The spec and the themes' colours, as data for the script."""
    plain = {key: value for key, value in spec.items() if key != "config"}
    return json_script({"spec": plain, "themes": {t: charts.config(t) for t in charts.THEMES}}, "chart-data")


def _rows(finding: Any) -> list[tuple[str, str, str, str, str]]:
    if finding is None:
        return []
    return [
        (
            row["side"],
            wording.count(row["detections"]),
            "–" if row["effective"] is None else wording.count(row["effective"]),
            wording.number(row["camera_days"]),
            row["key"] if row["sequence_keys"] else "",
        )
        for row in finding.rows
    ]


def _statistics(finding: Any) -> list[str]:
    """The test's p, no finer than it is worth, and which estimator it was."""
    if finding is None or not finding.series:
        return []
    known = finding.series["overlap"]
    p = "under 0.01" if known["p"] < 0.01 else wording.number(known["p"], 2)
    return [f"A test of no difference: p {p}.", f"Estimator: {known['estimator']}."]
