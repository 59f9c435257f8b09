"""Where rounds start, how cold the nights are, and how high the ground is."""

from __future__ import annotations

import numpy as np
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from trod import units as conversions
from trod.catalogue.forecasts import heights as grids
from trod.catalogue.forecasts import outfits
from trod.catalogue.models import Reserve
from trod.errors import WrongInput
from trod.web import seen
from trod.web.forms.common import back_to, units_for
from trod.web.rounds.forms import HeightsForm, NightsForm, StartForm


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """Where rounds start: typed, or by a click on the map."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return redirect("people:reserve")
    form = StartForm(request.POST if request.method == "POST" else None, instance=reserve)
    if request.method == "POST" and form.is_valid():
        at = f"{form.cleaned_data['base_latitude']:g}, {form.cleaned_data['base_longitude']:g}"
        with transaction.atomic():
            seen.check(request, reserve, only=("base_latitude", "base_longitude"), mine=f"rounds start at {at}")
            row = form.save(commit=False)
            row.save(update_fields=["base_latitude", "base_longitude"])
        messages.success(request, "Rounds start there from now on.")
        return redirect(back_to(request, "/rounds/"))
    known = Reserve.objects.get(pk=reserve.pk)
    begin = None if known.base_latitude is None else [known.base_latitude, known.base_longitude]
    data = {
        "middle": [known.latitude, known.longitude],
        "boundary": known.boundary,
        "start": begin,
        "choose": True,
        "trips": [],
        "left": [{"name": s.name, "at": [s.latitude, s.longitude]} for s in known.sites.filter(retired=False)],
    }
    context = {"form": form, "data": data, "next": back_to(request, "/rounds/")}
    return render(request, "trod/rounds/start.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
def nights(request: HttpRequest) -> HttpResponse:
    """The mean night minima by month; batteries give less in the cold."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return redirect("people:reserve")
    units = units_for(request, reserve)
    climate = outfits.climate_of(reserve)
    ours = not climate.assumed

    def shown(celsius: float) -> float:
        return round(conversions.scale("°C", units).from_stored(celsius), 1)

    initial: dict[str, float | str] = {f"m{n}": shown(v) for n, v in enumerate(climate.minimum_c, 1)} if ours else {}
    if ours and len(set(climate.sd_c)) == 1:
        initial["sd"] = round(climate.sd_c[0] / conversions.scale("°C", units).size, 1)
    if ours:
        initial["source"] = climate.source
    posted = request.method == "POST"
    form = NightsForm(request.POST if posted else None, request.FILES if posted else None, units=units, initial=initial)
    if request.method == "POST" and form.is_valid():
        made = form.climate()
        by_month = len(set(climate.sd_c)) > 1
        if made and ours and by_month and not form.cleaned_data.get("file") and form.cleaned_data.get("sd") is None:
            made["sd_c"] = list(climate.sd_c)  # the page shows one spread; those of each month stay
        with transaction.atomic():
            seen.check(request, reserve, only=("climate",), mine="the nights as you put them in")
            reserve.climate = made
            reserve.save(update_fields=["climate"])
        words = "The nights are kept." if reserve.climate else "Your numbers are taken back; assumed nights stand in."
        messages.success(request, f"{words} Forecasts are worked out anew.")
        return redirect(back_to(request, "/rounds/"))
    context = {"form": form, "ours": ours, "climate": climate, "next": back_to(request, "/rounds/"), "units": units,
               "coldest": f"{shown(min(climate.minimum_c)):.0f} °{'F' if units == 'us' else 'C'}",
               "by_month": ours and len(set(climate.sd_c)) > 1}  # fmt: skip
    return render(request, "trod/rounds/nights.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
def heights(request: HttpRequest) -> HttpResponse:
    """The reserve's height grid, by which walks are reckoned."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return redirect("people:reserve")
    posted = request.method == "POST"
    form = HeightsForm(request.POST if posted else None, request.FILES if posted else None)
    if posted and request.POST.get("delete"):
        grids.forget(reserve)
        messages.success(request, "The grid is deleted; walks are reckoned level again.")
        return redirect(back_to(request, "/rounds/"))
    if posted and form.is_valid():
        try:
            grids.keep(reserve, form.cleaned_data["file"])
        except WrongInput as trouble:
            form.add_error("file", f"That is {trouble.got}; needed is {trouble.needed}.")
        else:
            messages.success(request, "The heights are kept. Walks are reckoned by the slope from now on.")
            return redirect(back_to(request, "/rounds/"))
    grid = grids.grid_of(reserve)
    context = {"form": form, "next": back_to(request, "/rounds/"), "kept": None}
    if grid is not None:
        known = grid.heights[np.isfinite(grid.heights)]
        shown = conversions.scale("m", units_for(request, reserve))
        low, high = (
            f"{shown.from_stored(v):.0f} {shown.sign}"
            for v in ((float(known.min()), float(known.max())) if known.size else (0.0, 0.0))
        )
        rows, columns = grid.heights.shape
        context |= {"kept": {"rows": rows, "columns": columns}, "low": low, "high": high}
    return render(request, "trod/rounds/heights.html", context, status=422 if form.is_bound else 200)
