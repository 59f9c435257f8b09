"""Kept questions: kept with their answer, opened with what changed since, asked again, forgotten."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from trod import wording
from trod.catalogue.answers import answers, evidence, since
from trod.catalogue.answers.answers import Answer
from trod.catalogue.models import Finding, Question, Reserve
from trod.telling import since as told
from trod.telling.since import Told
from trod.web import access
from trod.web.questions import pages, views
from trod.web.reading import without_waiting


def result_of(answer: Answer, reserve: Reserve) -> dict[str, Any]:
    """An answer as it is kept: the finding whole, or why there is none, with what it rested on."""
    rested = {"basis": since.basis(answer, reserve)}
    if answer.finding is not None:
        return answer.finding.to_dict() | rested
    assert answer.trouble is not None
    return {
        "kind": answer.kind,
        "question": answer.question,
        "sentence": f"No answer yet: {answer.trouble.have}.",
        "need": answer.trouble.need,
        "value": None,
        "interval": None,
        "filter": {"sentence": answer.filter_sentence, **answer.filter.to_dict()},
    } | rested


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep a question, and today's answer with it."""
    kind = request.POST.get("kind", "")
    if kind not in answers.ASK:
        raise Http404("There is no such question.")
    reserve = answers.the_reserve()
    account = evidence.gather(reserve)
    asked, _ = views.read(QueryDict(request.POST.get("query", "")[:4000]), account)
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
        Finding.objects.create(question=made, at=timezone.now(), result=result_of(answer, reserve))
    messages.success(request, f"Kept: {title}")
    return redirect("questions:kept", uuid=made.uuid)


@require_GET
@without_waiting
def kept(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A kept question: what changed since it was answered, its answers as they were given, and one of them whole."""
    one = get_object_or_404(Question.objects.select_related("reserve"), uuid=uuid)
    earlier = views.sentences([one])
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
            "changed": _changed(one, found) if found and result else None,
            "now": f"{reverse('questions:question', args=[one.kind])}?{query}",
        },
    )


def _changed(one: Question, found: Finding) -> Told:
    """What changed between a kept answer and the same question asked now."""
    answer = answers.answer(one.kind, answers.from_kept(one.filter), evidence.gather(one.reserve))
    now = json.loads(json.dumps(result_of(answer, one.reserve)))  # as it would be kept
    happened = since.since(found.result, found.at, now, one.reserve)
    return told.told(found.result, now, happened, on=_day(found.at, one.reserve), same=since.same(found.result, now))


@require_POST
def again(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Ask a kept question again; the new answer is kept beside the old ones."""
    one = get_object_or_404(Question.objects.select_related("reserve"), uuid=uuid)
    account = evidence.gather(one.reserve)
    answer = answers.answer(one.kind, answers.from_kept(one.filter), account)
    last = one.findings.order_by("-at", "-id").first()
    result = json.loads(json.dumps(result_of(answer, one.reserve)))
    if last is not None and last.result == result:
        messages.info(request, f"The answer is still that of {_day(last.at, one.reserve)}; nothing new was kept.")
    else:
        Finding.objects.create(question=one, at=timezone.now(), result=result)
        messages.success(request, "Asked again; the new answer stands on top, the earlier ones below.")
    return redirect("questions:kept", uuid=one.uuid)


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
