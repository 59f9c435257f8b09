"""The page that shows what the independence interval does to the rate of one kind."""

from __future__ import annotations

from dataclasses import replace

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, evidence
from trod.catalogue.models import Reserve
from trod.drawing import intervals as drawing
from trod.errors import NotEnoughEvidence
from trod.findings import Filter, intervals
from trod.findings.intervals import AtInterval
from trod.telling import intervals as told
from trod.web.questions.views import read
from trod.web.reading import without_waiting


def _pictures(asked: Filter, minutes: float) -> str:
    """The pictures behind the detections at another interval."""
    query = answers.query(replace(asked, independence_min=minutes))
    return f"{reverse('questions:behind', args=['what-comes'])}?{query}"


@require_GET
@without_waiting
def independence(request: HttpRequest) -> HttpResponse:
    """The rate of what is asked for at several independence intervals."""
    reserve = Reserve.objects.order_by("id").first()
    back = f"{reverse('questions:question', args=['what-comes'])}?{request.GET.urlencode()}"
    if reserve is None:
        return redirect(back)
    account = evidence.gather(reserve)
    asked, problems = read(request.GET, account)
    rows: tuple[AtInterval, ...] = ()
    trouble = None
    try:
        rows = intervals.by_interval(account.evidence, asked)
    except NotEnoughEvidence as why:
        trouble = why
    names = account.evidence.names_for(asked)
    who = wording.listed_at_most([names.get(key, key) for key in sorted(asked.species)]) if asked.species else "animals"
    sentence = told.sentence(who, rows) if rows else ""
    marks = [
        drawing.Mark(
            name=told.name(row.minutes), value=row.rate.value, low=row.rate.shown.low, high=row.rate.shown.high,
            asked=row.asked,
        )
        for row in rows
        if row.rate.value is not None and row.rate.shown is not None
    ]  # fmt: skip
    return render(
        request,
        "trod/questions_independence.html",
        {
            "problems": problems,
            "trouble": trouble,
            "who": wording.capital(who),
            "sentence": sentence,
            "figure": drawing.figure(marks, unit="detections per 100 camera-days", label=sentence) if marks else "",
            "rows": [
                (
                    told.name(row.minutes) + (", in use" if row.asked else ""),
                    wording.count(row.detections),
                    _pictures(asked, row.minutes) if row.detections else "",
                    "–" if row.rate.value is None else wording.number(row.rate.value),
                    "–" if row.rate.shown is None else wording.between(row.rate.shown.low, row.rate.shown.high),
                )
                for row in rows
            ],
            "back": back,
        },
    )
