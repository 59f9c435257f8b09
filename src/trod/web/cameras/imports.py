"""Bringing lists of sites, cameras, deployments and species: look first, keep then, undo after."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from trod.catalogue import texts
from trod.catalogue.models import Reserve, Site
from trod.errors import WrongInput
from trod.web.forms import lists
from trod.web.forms.common import offer_undo

TITLES = {
    "sites": "Bring sites",
    "cameras": "Bring cameras",
    "deployments": "Bring deployments",
    "species": "Import species",
}
BACK = {
    "sites": "map:map",
    "cameras": "cameras:cameras",
    "deployments": "cameras:cameras",
    "species": "people:species",
}


@require_GET
def sample(request: HttpRequest, what: str) -> HttpResponse:
    if what not in TITLES:
        raise Http404
    answer = HttpResponse("\ufeff" + lists.sample(what), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="trod-{what}.csv"'
    return answer


@require_http_methods(["GET", "POST"])
def import_page(request: HttpRequest, what: str) -> HttpResponse:
    """A file comes; a page shows what each line would do; nothing is kept until that is confirmed."""
    if what not in TITLES:
        raise Http404
    reserve = Reserve.objects.order_by("id").first()
    context: dict[str, Any] = {
        "what": what,
        "title": TITLES[what],
        "back": reverse(BACK[what]),
        "columns": lists.COLUMNS[what],
        "features": Site.Feature.choices,
        "kinds": TITLES,
        "feature": request.POST.get("feature", Site.Feature.OTHER),
    }
    page = "trod/cameras/import.html"
    if request.method == "GET" or reserve is None:
        return render(request, page, context)
    keep = request.POST.get("keep") == "yes"
    try:
        file = request.FILES.get("file")
        if file is not None:
            if (size := file.size or 0) > lists.MOST_BYTES:
                raise WrongInput("file", got=f"{size / 1e6:.1f} MB", needed="at most 1 MB; part it")
            text = texts.decode(file.read())
        else:
            text = request.POST.get("text", "")
        if not text.strip():
            raise WrongInput("file", got="nothing", needed="a file to bring, or its text")
        if text.lstrip().startswith("<"):
            if what != "sites":
                raise WrongInput("file", got="a GPX file", needed=f"a table; GPX waypoints become sites, not {what}")
            lines = lists.read_gpx(text)
            defaults = {"feature": context["feature"]} if context["feature"] in Site.Feature.values else {}
            context["gpx"] = True
        else:
            lines, defaults = lists.read_table(text, what), {}
        made = lists.plan(what, lines, reserve, keep=keep, defaults=defaults)
    except WrongInput as trouble:
        return render(request, page, {**context, "trouble": str(trouble)}, status=422)
    if keep and not made.wrong:
        offer_undo(request, "Undo it all", context["back"], before=made.before, made=made.made)
        messages.success(request, f"The list is kept: {made.sentence}.", extra_tags="undo")
        return redirect(context["back"])
    return render(request, page, {**context, "plan": made, "text": text}, status=422 if made.wrong else 200)
