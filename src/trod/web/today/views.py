from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET


@require_GET
def today(request: HttpRequest) -> HttpResponse:
    return render(request, "trod/today.html")
