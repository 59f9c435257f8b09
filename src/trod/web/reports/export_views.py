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
from trod.web.reports import exporting
from trod.web.shared import seeing as people

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


@require_http_methods(["GET", "POST"])
def export(request: HttpRequest) -> HttpResponseBase:
    """The preview; with POST the records as one ZIP file."""
    asked = _asked(request.POST if request.method == "POST" else request.GET, request)
    if Reserve.objects.first() is None:
        return render(request, "trod/export.html", {"nothing": True})
    try:
        if request.method == "POST":
            return _file(asked)
        found = exporting.preview(**asked)
    except TrodError as trouble:
        return render(request, "trod/export.html", {"asked": asked, "problem": str(trouble)}, status=422)
    context = {"asked": asked, "preview": found, "may_see": people.may_see(request), "tables": TABLES}
    return render(request, "trod/export.html", context)


def _file(asked: dict[str, Any]) -> HttpResponseBase:
    held = tempfile.TemporaryFile()  # noqa: SIM115 (the answer closes it)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        exporting.export(folder, **asked)
        with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as out:
            for path in sorted(folder.iterdir()):
                out.write(path, path.name)
    held.seek(0)
    true = "-true-places" if asked["show_sensitive"] and _any_sensitive() else ""
    name = f"records-{timezone.now():%Y-%m-%d}{true}.zip"
    answer: HttpResponse | FileResponse = FileResponse(held, as_attachment=True, filename=name)
    answer.headers["Content-Type"] = "application/zip"
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def _any_sensitive() -> bool:
    from trod.catalogue.models import Site

    return Site.objects.filter(sensitive=True).exists()
