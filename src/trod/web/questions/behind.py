"""The pages of pictures that stand behind every number of an answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod.catalogue.answers import answers, evidence
from trod.catalogue.answers.answers import Answer
from trod.catalogue.models import Reserve, Sequence
from trod.errors import WrongInput
from trod.findings import Finding
from trod.web.questions import compare, equal_cameras, first_last, overlap, pages, panels, views
from trod.web.reading import without_waiting

A_PAGE = 48  # thumbnails
# The doors beside the three questions: each asks again what its page asked, from the same address.
DOORS = {
    "compare": compare.find,
    "overlap": overlap.find,
    "first-last": first_last.find,
    "side-by-side": panels.find,
    "equal-cameras": equal_cameras.find,
}


@require_GET
@without_waiting
def behind(request: HttpRequest, kind: str) -> HttpResponse:
    """The pictures a number of one of the three questions rests on, in time order, a page at a time."""
    _, answer = views.ask_of(request, kind)
    back = reverse("questions:question", args=[kind])
    if answer.finding is None:
        return redirect(f"{back}?{request.GET.urlencode()}")
    try:
        keys, pictures, line = answers.behind(answer.finding, request.GET.get("row", ""))
    except WrongInput as trouble:
        raise Http404(str(trouble)) from None
    return _shown(request, answer.finding, keys, pictures, _of(answer, line), back=back)


@require_GET
@without_waiting
def of_door(request: HttpRequest, door: str) -> HttpResponse:
    """The same for the other pages that answer; `end` opens one end of a line, its first or its last."""
    if door not in DOORS:
        raise Http404("There is no such question.")
    back = reverse(f"questions:{door}")
    try:
        finding, _ = DOORS[door](request.GET, evidence.gather(answers.the_reserve()))
    except WrongInput:
        finding = None
    if finding is None:
        return redirect(f"{back}?{_without(request, 'row', 'end', 'page')}")
    end = request.GET.get("end", "")
    line = _line(finding, request.GET.get("row", ""), end)
    start = f"{end}_" if end else ""
    return _shown(
        request, finding, line[f"{start}sequence_keys"], line[f"{start}pictures"], _named(line, end), back=back
    )


def _line(finding: Finding, row: str, end: str) -> Mapping[str, Any]:
    """The line of the table, or all of the answer as one. Raises Http404 where the answer has none such."""
    whole = {"sequence_keys": finding.sequences, "pictures": finding.pictures}
    found = whole if not row else next((line for line in finding.rows if line["key"] == row), None)
    if found is None or (f"{end}_sequence_keys" if end else "sequence_keys") not in found:
        raise Http404("The answer has no such line.")
    return found


def _named(line: Mapping[str, Any], end: str) -> str:
    """Which line is opened, in words."""
    named = ", ".join(str(line[key]) for key in ("side", "species", "part", "stretch", "site") if line.get(key))
    if end:
        return f"{named}, the {end} on record"
    return named or "all of the answer"


def _shown(
    request: HttpRequest, finding: Finding, keys: tuple[str, ...], pictures: tuple[str, ...], of: str, *, back: str
) -> HttpResponse:
    page = Paginator(keys, A_PAGE).get_page(request.GET.get("page"))
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
    return render(
        request,
        "trod/questions_behind.html",
        {
            "question": finding.question,
            "filter_sentence": finding.filter_sentence,
            "of": of,
            "sequences": shown,
            "detections": len(pictures),
            "page": page,
            "numbers": pages.pager(len(keys), page.number, A_PAGE),
            "query": _without(request, "page"),
            "back": f"{back}?{_without(request, 'page', 'row', 'end')}",
            "reserve_here": Reserve.objects.order_by("id").first(),
        },
    )


def _without(request: HttpRequest, *names: str) -> str:
    """The address's query without these."""
    query = request.GET.copy()
    for name in names:
        query.pop(name, None)
    return query.urlencode()


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
