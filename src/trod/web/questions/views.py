from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import json_script
from django.views.decorators.http import require_GET, require_POST

from trod import wording
from trod.catalogue.answers import answers, evidence
from trod.catalogue.answers.answers import Answer
from trod.catalogue.answers.evidence import Account
from trod.catalogue.models import Finding, Question, Reserve, Sequence
from trod.errors import NotEnoughEvidence, WrongInput
from trod.exchange import tables
from trod.findings import Filter
from trod.report import charts
from trod.web import access
from trod.web.questions import pages
from trod.web.reading import without_waiting
from trod.web.shared import script

A_PAGE = 48  # thumbnails


@require_GET
@without_waiting
def questions(request: HttpRequest) -> HttpResponse:
    return _question(request, "what-comes")


@require_GET
@without_waiting
def question(request: HttpRequest, kind: str) -> HttpResponse:
    return _question(request, kind)


def _question(request: HttpRequest, kind: str) -> HttpResponse:
    reserve = _reserve()
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


def _reserve() -> Reserve | None:
    return Reserve.objects.order_by("id").first()


def _kept(reserve: Reserve | None) -> list[tuple[Question, Mapping[str, Any] | None]]:
    """Kept questions, each with its latest finding."""
    if reserve is None:
        return []
    found = list(Question.objects.filter(reserve=reserve)[:200])
    latest: dict[int, Mapping[str, Any]] = {}
    for finding in _sentences(found):
        latest.setdefault(finding["question"], finding)
    return [(one, latest.get(one.pk)) for one in found]


def _sentences(found: list[Question]) -> list[Mapping[str, Any]]:
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


# --- what is behind a number ---------------------------------------------------------------------


@require_GET
@without_waiting
def behind(request: HttpRequest, kind: str) -> HttpResponse:
    """The pictures a number rests on, in time order, a page at a time."""
    _, answer = _ask(request, kind)
    if answer.finding is None:
        return redirect(f"{reverse('questions:question', args=[kind])}?{request.GET.urlencode()}")
    row = request.GET.get("row", "")
    try:
        keys, pictures, line = answers.behind(answer.finding, row)
    except WrongInput as trouble:
        raise Http404(str(trouble)) from None
    page = Paginator(keys, A_PAGE).get_page(request.GET.get("page"))
    reserve = _reserve()
    known: dict[str, dict[str, Any]] = {
        sequence["key"]: {**sequence}
        for sequence in Sequence.objects.filter(key__in=list(page.object_list)).values(
            "key", "pk", "start_at", "frames", "deployment__site__name"
        )
    }
    firsts = set(pictures)
    shown = [
        {
            "key": key,
            "sha": (sha := evidence.first_picture(key)),
            "first": sha in firsts,
            **known.get(key, {}),
            "site": known.get(key, {}).get("deployment__site__name", ""),
        }
        for key in page.object_list
    ]
    query = request.GET.copy()
    query.pop("page", None)
    back = query.copy()
    back.pop("row", None)
    return render(
        request,
        "trod/questions_behind.html",
        {
            "answer": answer,
            "of": _of(answer, line),
            "sequences": shown,
            "detections": len(pictures),
            "page": page,
            "numbers": pages.pager(len(keys), page.number, A_PAGE),
            "query": query.urlencode(),
            "back": f"{reverse('questions:question', args=[kind])}?{back.urlencode()}",
            "reserve_here": reserve,
            "kind": kind,
        },
    )


def _of(answer: Answer, line: Any) -> str:
    """Which line of the table is opened, in words."""
    if line is None:
        return "all of the answer"
    if answer.kind == "what-comes":
        return str(line["species"])
    if answer.kind == "when":
        return {"day": "by day", "night": "by night", "twilight": "in twilight"}.get(line["light"], line["light"])
    return (
        pages.table_of(
            {"columns": [{"key": "month", "title": "", "kind": "date", "unit": ""}], "rows": [line]},
            answer.kind,
            None,
        )
        .rows[0][0]
        .text
    )


def _ask(request: HttpRequest, kind: str) -> tuple[Account, Answer]:
    account = evidence.gather(answers.the_reserve())
    asked, _ = read(request.GET, account)
    return account, answers.answer(kind, asked, account)


# --- in open formats -----------------------------------------------------------------------------


@require_GET
def as_json(request: HttpRequest, kind: str) -> HttpResponse:
    reserve = _reserve()
    if reserve is None:
        return _refused(NotEnoughEvidence("no reserve is entered yet", need="enter it on the page Ground"), kind)
    _, answer = _ask(request, kind)
    if answer.finding is None:
        assert answer.trouble is not None
        return _refused(answer.trouble, kind)
    return _file(answer.finding.to_json() + "\n", "application/json", f"{kind}.json")


@require_GET
def as_csv(request: HttpRequest, kind: str) -> HttpResponse:
    reserve = _reserve()
    if reserve is None:
        return _refused(NotEnoughEvidence("no reserve is entered yet", need="enter it on the page Ground"), kind)
    _, answer = _ask(request, kind)
    if answer.finding is None:
        assert answer.trouble is not None
        return _refused(answer.trouble, kind)
    columns = [column.key for column in answer.finding.columns]
    text = tables.text(columns, ([row.get(key) for key in columns] for row in answer.finding.rows))
    return _file(text, "text/csv; charset=utf-8", f"{kind}.csv")


def _file(text: str, content_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(text, content_type=content_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="trod-{name}"'
    return answer


def _refused(trouble: NotEnoughEvidence, kind: str) -> HttpResponse:
    """No number is given, and the answer says so: 422, with the reason."""
    body = {"kind": kind, "sentence": trouble.have, "need": trouble.need, "value": None, "interval": None}
    return HttpResponse(json.dumps(body, ensure_ascii=False) + "\n", content_type="application/json", status=422)


# --- kept questions ------------------------------------------------------------------------------


def _result(answer: Answer) -> dict[str, Any]:
    if answer.finding is not None:
        return answer.finding.to_dict()
    assert answer.trouble is not None
    return {
        "kind": answer.kind,
        "question": answer.question,
        "sentence": f"No answer yet: {answer.trouble.have}.",
        "need": answer.trouble.need,
        "value": None,
        "interval": None,
        "filter": {"sentence": answer.filter_sentence, **answer.filter.to_dict()},
    }


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep a question, and today's answer with it."""
    kind = request.POST.get("kind", "")
    if kind not in answers.ASK:
        raise Http404("There is no such question.")
    reserve = answers.the_reserve()
    account = evidence.gather(reserve)
    asked, _ = read(QueryDict(request.POST.get("query", "")[:4000]), account)
    answer = answers.answer(kind, asked, account)
    title = request.POST.get("title", "").replace("\0", "").strip()[:160] or answer.filter_sentence[:160]
    with transaction.atomic():
        made = Question.objects.create(
            reserve=reserve,
            kind=kind,
            title=title,
            filter=asked.to_dict(),
            by=access.person(request),
            at=timezone.now(),
        )
        Finding.objects.create(question=made, at=timezone.now(), result=_result(answer))
    messages.success(request, f"Kept: {title}")
    return redirect("questions:kept", uuid=made.uuid)


@require_GET
def kept(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A kept question: its answers as they were given, newest first, and one of them whole."""
    one = get_object_or_404(Question.objects.select_related("reserve"), uuid=uuid)
    earlier = _sentences([one])
    wanted = request.GET.get("answer", "")
    found = None
    if earlier:
        pk = int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 19 else earlier[0]["pk"]
        found = get_object_or_404(Finding, question=one, pk=pk)
    query = answers.query(answers.from_kept(one.filter))
    result = found.result if found and isinstance(found.result, dict) else {}
    return render(
        request,
        "trod/questions_kept.html",
        {
            "one": one,
            "earlier": earlier,
            "found": found,
            "result": result,
            "table": pages.table_of(result, one.kind, None) if result.get("columns") else None,
            "now": f"{reverse('questions:question', args=[one.kind])}?{query}",
        },
    )


@require_POST
def again(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Ask a kept question again; the new answer is kept beside the old ones."""
    one = get_object_or_404(Question.objects.select_related("reserve"), uuid=uuid)
    account = evidence.gather(one.reserve)
    answer = answers.answer(one.kind, answers.from_kept(one.filter), account)
    last = one.findings.order_by("-at", "-id").first()
    result = _result(answer)
    if last is not None and _same(last.result, result):
        messages.info(request, f"The answer is still that of {_day(last.at, one.reserve)}; nothing new was kept.")
    else:
        Finding.objects.create(question=one, at=timezone.now(), result=result)
        messages.success(request, "Asked again; the new answer stands on top, the earlier ones below.")
    return redirect("questions:kept", uuid=one.uuid)


def _same(a: Any, b: Any) -> bool:
    return json.dumps(a, sort_keys=True) == json.dumps(b, sort_keys=True)


def _day(at: datetime, reserve: Reserve) -> str:
    return wording.day(at.astimezone(reserve.zone_info))


@require_POST
def forget(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Throw a kept question and its answers away; the page asks first."""
    one = get_object_or_404(Question, uuid=uuid)
    title = one.title
    one.delete()
    messages.success(request, f"No longer kept: {title}")
    return redirect("questions:questions")


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
