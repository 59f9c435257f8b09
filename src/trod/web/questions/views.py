from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import json_script
from django.views.decorators.http import require_GET

from trod.catalogue.answers import answers, evidence
from trod.catalogue.answers.answers import Answer
from trod.catalogue.answers.evidence import Account
from trod.catalogue.models import Finding, Question, Reserve
from trod.errors import WrongInput
from trod.findings import Filter
from trod.report import charts
from trod.web.questions import pages
from trod.web.reading import without_waiting
from trod.web.shared import script


@require_GET
@without_waiting
def questions(request: HttpRequest) -> HttpResponse:
    return _question(request, "what-comes")


@require_GET
@without_waiting
def question(request: HttpRequest, kind: str) -> HttpResponse:
    return _question(request, kind)


def _question(request: HttpRequest, kind: str) -> HttpResponse:
    reserve = the_reserve()
    kept = _kept(reserve)
    if reserve is None:
        return render(request, "trod/questions.html", {"page": None, "kept": kept, "kind": kind})
    account = evidence.gather(reserve)
    asked, problems = read(request.GET, account)
    answer = answers.answer(kind, asked, account)
    sites = answers.known_sites(account)
    page = pages.make(
        answer,
        by=request.GET.get("by", ""),
        site_names=sites,
        latitude_deg=reserve.latitude,
        today=timezone.now().astimezone(reserve.zone_info).date(),
    )
    return render(
        request,
        "trod/questions.html",
        {
            "page": page,
            "kind": kind,
            "problems": problems,
            "empty": not account.evidence.observations and not account.evidence.unseen,
            "species": answers.known_species(),
            "sites": sites,
            "usual_every": pages.USUAL_EVERY_MIN,
            "intervals": sorted({*pages.INTERVALS_MIN, asked.independence_min}),
            "chart": page.drawn and _chart(page.drawn),
            "charts_url": reverse("questions:charts_script", args=[script.stamp()]),
            "kept": kept,
            "title": answer.filter_sentence[:160],
            "query": answers.query(asked),
        },
    )


def the_reserve() -> Reserve | None:
    return Reserve.objects.order_by("id").first()


def _kept(reserve: Reserve | None) -> list[tuple[Question, Mapping[str, Any] | None]]:
    """Kept questions, each with its latest finding."""
    if reserve is None:
        return []
    found = list(Question.objects.filter(reserve=reserve)[:200])
    latest: dict[int, Mapping[str, Any]] = {}
    for finding in sentences(found):
        latest.setdefault(finding["question"], finding)
    return [(one, latest.get(one.pk)) for one in found]


def sentences(found: list[Question]) -> list[Mapping[str, Any]]:
    """Date and sentence of their findings, newest first, without the rest, which may be long."""
    return [
        *Finding.objects.filter(question__in=[q.pk for q in found])
        .order_by("-at", "-id")
        .values("question", "at", "pk", "result__sentence", "result__filter__sentence")[:1000]
    ]


def read(given: QueryDict, account: Account) -> tuple[Filter, list[str]]:
    """The filter of an address. What cannot be used is left out and told."""
    parts: dict[str, Any] = {
        "species": given.getlist("species"),
        "sites": given.getlist("site"),
        "first": given.get("from", ""),
        "last": given.get("to", ""),
        "every_min": given.get("every", "") or pages.USUAL_EVERY_MIN,
        "light": given.get("light", "") or "any",
    }
    names = {
        "species": "species",
        "site": "sites",
        "from": "first",
        "to": "last",
        "every": "every_min",
        "independence_min": "every_min",
        "light": "light",
    }
    usual: dict[str, Any] = {
        "species": (),
        "sites": (),
        "first": "",
        "last": "",
        "every_min": pages.USUAL_EVERY_MIN,
        "light": "any",
    }
    problems: list[str] = []
    for _ in range(len(usual) + 1):
        try:
            return answers.make_filter(account, **parts), problems
        except WrongInput as trouble:
            problems.append(f"{trouble}. It is left out here.")
            part = names.get(trouble.what, "first")
            if part == "first" and "which is after" in str(trouble.got):
                part = "last"
            parts[part] = usual[part]
    return Filter(), problems


def _chart(drawn: pages.Drawn) -> str:
    """The spec and the themes' colours, as data for the script."""
    spec = {key: value for key, value in drawn.spec.items() if key != "config"}
    if isinstance(spec.get("height"), dict):
        # So many rows of so many px; said outright, since a chart that fits its width cannot grow by rows.
        spec["height"] = spec["height"]["step"] * max(1, drawn.rows)
    return json_script(
        {"spec": spec, "themes": {t: charts.config(t) for t in ("light", "night", "paper")}}, "chart-data"
    )


def ask_of(request: HttpRequest, kind: str) -> tuple[Account, Answer]:
    account = evidence.gather(answers.the_reserve())
    asked, _ = read(request.GET, account)
    return account, answers.answer(kind, asked, account)


# --- the script that draws -----------------------------------------------------------------------


@require_GET
def charts_script(request: HttpRequest, stamp: str) -> HttpResponseBase:
    """The chart-drawing script; its address changes with its versions, so it may be kept for ever."""
    if stamp != script.stamp():
        raise Http404("The page is older than this Trod. Load it again.")
    gzipped = "gzip" in request.headers.get("Accept-Encoding", "")
    answer = FileResponse(script.file(gzipped=gzipped).open("rb"), content_type="text/javascript; charset=utf-8")
    if gzipped:
        answer.headers["Content-Encoding"] = "gzip"
    answer.headers["Vary"] = "Accept-Encoding"
    answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return answer
