"""What a page says when a record cannot be saved: why, what to do, and every word that was typed."""

from __future__ import annotations

from collections.abc import Callable

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from trod.catalogue.trouble import in_words, is_damage
from trod.errors import ArchiveUnwritable, CatalogueTrouble, DiskFull, NotOnPaper
from trod.web.access import asked_by

# Not shown again and not sent on in a page: what guards the form, and secrets.
LEFT_OUT = ("csrfmiddlewaretoken", "password", "combination")
MOST_SHOWN = 400


class RefusedMiddleware:
    """Knows for whom a change is made, and shows a refused one with all that was typed."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with asked_by(request):
            return self.get_response(request)

    def process_exception(self, request: HttpRequest, problem: Exception) -> HttpResponse | None:
        if is_damage(problem):  # of the catalogue's own file
            problem = in_words(problem) or problem
        if not isinstance(problem, (CatalogueTrouble, DiskFull, ArchiveUnwritable)):
            return None
        if request.headers.get("HX-Request") or request.content_type == "application/json":
            return HttpResponse(str(problem), status=409, content_type="text/plain; charset=utf-8")
        typed = [
            (name, value)
            for name, values in request.POST.lists()
            if not any(word in name for word in LEFT_OUT)
            for value in values
        ]
        context = {
            "why": str(problem),
            "half": isinstance(problem, NotOnPaper),
            "typed": typed[:MOST_SHOWN],
            "shown": [(name.replace("_", " "), value) for name, value in typed[:MOST_SHOWN] if value.strip()],
            "files": sorted(
                {file.name for file in request.FILES.values() if isinstance(file, UploadedFile) and file.name}
            ),
            "again": request.get_full_path() if request.method == "POST" else "",
        }
        return render(request, "trod/refused.html", context, status=409)
