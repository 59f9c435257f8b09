"""The person at the keyboard: name, theme, units; cautions; what a wrong address or a fault says."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from trod.web.pages import THEMES

YEAR_S = 365 * 24 * 3600


@require_GET
def cautions(request: HttpRequest) -> HttpResponse:
    return render(request, "trod/cautions.html")


@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return render(request, "trod/settings.html", {"themes": THEMES})
    answer = redirect("people:settings")
    name = request.POST.get("person", "").strip()[:80]
    if name:
        request.session["person"] = name
    if request.POST.get("theme") in THEMES:
        answer.set_cookie("theme", request.POST["theme"], max_age=YEAR_S, samesite="Lax")
    if request.POST.get("units") in ("metric", "us"):
        answer.set_cookie("units", request.POST["units"], max_age=YEAR_S, samesite="Lax")
    messages.success(request, "Kept.")
    return answer


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "trod/trouble.html", {"what": "Nothing lies at this address."}, status=404)


def fault(request: HttpRequest) -> HttpResponse:
    return render(request, "trod/fault.html", status=500)
