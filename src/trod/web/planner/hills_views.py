"""The hills around a site, from a height grid that a person brings."""

from __future__ import annotations

import io
import threading
from typing import TextIO

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from trod.catalogue.models import Site
from trod.errors import WrongInput
from trod.limits import HEIGHTS_PAGE_BYTES  # `trod place --heights` reads larger ones
from trod.planning.ground.heightgrid import hills_around
from trod.planning.ground.site import Horizon
from trod.web import seen
from trod.web.forms.common import offer_undo
from trod.web.planner.shared import site_of

_turn = threading.Lock()  # one grid at a time is held in memory
BUSY = "Another height grid is being read just now. Try again in a moment."


class HillsForm(forms.Form):
    """A height grid as a file."""

    file = forms.FileField(
        label="The height grid", help_text="an ESRI ASCII grid (.asc) in degrees, of a few kilometres around"
    )

    def clean_file(self) -> TextIO:
        file = self.cleaned_data["file"]
        if file.size > HEIGHTS_PAGE_BYTES:
            raise forms.ValidationError(
                f"{file.size / 1e6:.0f} MB came; needed: at most {HEIGHTS_PAGE_BYTES // 1_000_000} MB. "
                "Cut it to some kilometres around the site."
            )
        return io.TextIOWrapper(file, "utf-8", errors="replace")


@require_http_methods(["GET", "POST"])
def hills(request: HttpRequest, slug: str) -> HttpResponse:
    """Take the horizon of a site from a grid, and keep it with the site."""
    site = site_of(slug)
    back = reverse("planner:planner", args=[slug])
    form = HillsForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        found = None
        try:
            found = _read(form.cleaned_data["file"], site)
            if found is None:
                form.add_error("file", BUSY)
        except WrongInput as trouble:
            form.add_error("file", str(trouble))
        if found is not None:
            seen.check(request, site, only=("ground",), mine="the hills of your grid")
            highest = max(found.points, key=lambda point: point[1])
            offer_undo(request, "Put the site back as it was", back, before=[Site.objects.get(pk=site.pk)])
            site.ground = {**(site.ground if isinstance(site.ground, dict) else {}), "horizon": found.text}
            site.save()
            messages.success(
                request,
                f"The hills around {site} now stand with it: "
                f"{highest[1]:.0f}° at most, at a bearing of {highest[0]:.0f}°.",
                extra_tags="undo",
            )
            return redirect(back)
    kept = site.ground.get("horizon", "") if isinstance(site.ground, dict) else ""
    return render(
        request,
        "trod/planner/hills.html",
        {"site": site, "form": form, "kept": kept},
        status=422 if form.is_bound else 200,
    )


def _read(file: TextIO, site: Site) -> Horizon | None:
    """The hills around a site; None when another grid is being read and does not come to its end."""
    if not _turn.acquire(timeout=1):
        return None
    try:
        return hills_around(file, latitude_deg=site.latitude, longitude_deg=site.longitude)
    finally:
        _turn.release()
