"""Records go out: what is coarsened and left out is shown first, then the call of `trod export` makes the files."""

from __future__ import annotations

import tempfile
import zipfile
from pathlib import Path
from typing import Any

from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from trod.catalogue.models import Reserve
from trod.errors import TrodError
from trod.exchange.package_check import DESIGNS
from trod.web.reports import exporting, package
from trod.web.shared import seeing as people

FORMS = {
    "tables": "Tables of Trod",
    "package": "Camtrap DP 1.0.2, the open standard",
    "darwin-core": "Darwin Core",
}
# How sites were chosen, in the standard's words and in plain ones.
DESIGN_WORDS = {
    "opportunistic": "where it was convenient",
    "targeted": "where certain animals were expected",
    "experimental": "for an experiment",
    "simpleRandom": "at random",
    "systematicRandom": "in a regular pattern, laid at random",
    "clusteredRandom": "at random, in clusters",
}
TABLES = (
    "Sites, deployments, visits, species, effort, observations and the list of pictures, as CSV; the sites as GPX "
    "and GeoJSON"
)


def _asked(given: QueryDict, request: HttpRequest) -> dict[str, Any]:
    """What was asked. What shows people, or was not reviewed, is listed only for who may see it."""
    return {
        "first": given.get("from", "")[:10],
        "last": given.get("to", "")[:10],
        "people": given.get("people") == "1" and people.may_see(request),
        "show_sensitive": given.get("places") == "true",
    }


def _form(given: QueryDict) -> dict[str, Any]:
    """In which form it goes out."""
    form, design = given.get("as", ""), given.get("design", "")
    return {
        "form": form if form in FORMS else "tables",
        "design": design if design in DESIGNS else "opportunistic",
        "pictures": given.get("pictures") == "1" and form == "package",
    }


@require_http_methods(["GET", "POST"])
def export(request: HttpRequest) -> HttpResponseBase:
    """The preview; with POST the records as one ZIP file."""
    given = request.POST if request.method == "POST" else request.GET
    asked, form = _asked(given, request), _form(given)
    if Reserve.objects.first() is None:
        return render(request, "trod/export.html", {"nothing": True})
    try:
        if request.method == "POST":
            return _file(asked, form)
        found = exporting.preview(**asked)
    except TrodError as trouble:
        told = {"asked": asked, "problem": str(trouble), "form": form, "forms": FORMS, "designs": DESIGN_WORDS}
        return render(request, "trod/export.html", told, status=422)
    context: dict[str, Any] = {
        "asked": asked,
        "form": form,
        "forms": FORMS,
        "designs": DESIGN_WORDS,
        "preview": found,
        "may_see": people.may_see(request),
        "tables": TABLES,
    }
    return render(request, "trod/export.html", context)


def _file(asked: dict[str, Any], form: dict[str, Any]) -> HttpResponseBase:
    held = tempfile.TemporaryFile()  # noqa: SIM115 (the answer closes it)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        if form["form"] == "tables":
            exporting.export(folder, **asked)
        else:
            wish = package.Wish(**asked, pictures=form["pictures"], design=form["design"])
            (package.export_package if form["form"] == "package" else package.export_darwin_core)(folder, wish)
        with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as out:
            for path in sorted(p for p in folder.rglob("*") if p.is_file()):
                out.write(path, path.relative_to(folder).as_posix())
    held.seek(0)
    true = "-true-places" if asked["show_sensitive"] and _any_sensitive() else ""
    kind = {"tables": "records", "package": "package"}.get(form["form"], "darwin-core")
    name = f"{kind}-{timezone.now():%Y-%m-%d}{true}.zip"
    answer: HttpResponse | FileResponse = FileResponse(held, as_attachment=True, filename=name)
    answer.headers["Content-Type"] = "application/zip"
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def _any_sensitive() -> bool:
    from trod.catalogue.models import Site

    return Site.objects.filter(sensitive=True).exists()
