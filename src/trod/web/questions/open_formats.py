"""Answers in open formats: the finding whole as JSON, its table as CSV."""

from __future__ import annotations

import json

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from trod.catalogue.answers import answers, evidence
from trod.errors import NotEnoughEvidence, WrongInput
from trod.exchange import tables
from trod.findings import Finding
from trod.web.questions import behind, views


@require_GET
def as_json(request: HttpRequest, kind: str) -> HttpResponse:
    """One of the three questions, or of the doors beside them."""
    finding, trouble = _find(request, kind)
    if finding is None:
        return _refused(trouble, kind)
    return _file(finding.to_json() + "\n", "application/json", f"{kind}.json")


@require_GET
def as_csv(request: HttpRequest, kind: str) -> HttpResponse:
    """The same, its table alone."""
    finding, trouble = _find(request, kind)
    if finding is None:
        return _refused(trouble, kind)
    columns = [column.key for column in finding.columns]
    text = tables.text(columns, ([row.get(key) for key in columns] for row in finding.rows))
    return _file(text, "text/csv; charset=utf-8", f"{kind}.csv")


def _find(request: HttpRequest, kind: str) -> tuple[Finding | None, NotEnoughEvidence | None]:
    reserve = views.the_reserve()
    if reserve is None:
        return None, NotEnoughEvidence("no reserve is entered yet", need="enter it on the page Map")
    if kind in answers.ASK:
        answer = views.ask_of(request, kind)[1]
        return answer.finding, answer.trouble
    if kind not in behind.DOORS:
        raise Http404("There is no such question.")
    try:
        return behind.DOORS[kind](request.GET, evidence.gather(reserve))
    except WrongInput as trouble:
        return None, NotEnoughEvidence(f"{trouble.what}: {trouble.got}", need=trouble.needed)


def _file(text: str, content_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(text, content_type=content_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="trod-{name}"'
    return answer


def _refused(trouble: NotEnoughEvidence | None, kind: str) -> HttpResponse:
    """No number is given, and the answer says so: 422, with the reason."""
    trouble = trouble or NotEnoughEvidence("nothing is known", need="import a card")
    body = {"kind": kind, "sentence": trouble.have, "need": trouble.need, "value": None, "interval": None}
    return HttpResponse(json.dumps(body, ensure_ascii=False) + "\n", content_type="application/json", status=422)
