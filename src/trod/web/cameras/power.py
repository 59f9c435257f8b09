"""How long a standing camera lasts: its forecast, when to go, what it rests on, what would help, what if."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import json_script
from django.views.decorators.http import require_GET

from trod import watch
from trod.errors import WrongInput
from trod.planning import outfit_change
from trod.planning.outfit_change import Change
from trod.report import charts
from trod.web.cameras import power_chart
from trod.web.catalogue import forecasts, outfits, what_if
from trod.web.catalogue.forecasts import Price, Reckoned
from trod.web.catalogue.outfits import Assumed
from trod.web.catalogue.what_if import Help
from trod.web.forms_common import units_for
from trod.web.models import Deployment
from trod.web.questions import script


def _number(needed: str) -> dict[str, str]:
    """What is said when something typed is no number."""
    return {"invalid": f"That is no number that can be read; needed: {needed}."}


class PriceForm(forms.Form):
    """What a visit costs and how often a camera is lost here; for this page, not kept."""

    travel_min = forms.FloatField(
        label="Its share of the way (min)", min_value=0, max_value=2880, required=False,
        help_text="of a round to all sites; there and back if you go to it alone",
        error_messages=_number("minutes, like 90"),
    )  # fmt: skip
    quiet_days = forms.FloatField(
        label="Quiet after a visit (days)", min_value=0, max_value=90, required=False,
        help_text="for how long animals stay away", error_messages=_number("days, like 2"),
    )  # fmt: skip
    losses = forms.FloatField(
        label="Faults and thefts (a year)", min_value=0, max_value=50, required=False,
        help_text="how many a camera here suffers; 0.1 is one in ten years",
        error_messages=_number("how many a year, like 0.2"),
    )  # fmt: skip


class ChangeForm(forms.Form):
    """What might be set otherwise at the next visit."""

    cells = forms.CharField(label="Cells", max_length=60, required=False, help_text="like 12 FR6 or 8 alkaline")
    card_gb = forms.FloatField(
        label="Card (GB)", min_value=0.1, max_value=4096, required=False, error_messages=_number("gigabytes, like 64")
    )
    delay_s = forms.FloatField(
        label="Between triggers (s)", min_value=0, max_value=86_400, required=False,
        error_messages=_number("seconds, like 30"),
    )  # fmt: skip
    burst = forms.IntegerField(
        label="Pictures a trigger", min_value=0, max_value=100, required=False,
        error_messages=_number("pictures, like 3"),
    )  # fmt: skip

    def clean_cells(self) -> str:
        typed = str(self.cleaned_data["cells"]).strip()
        if typed and outfits.pack_from(typed)[1].startswith("assumed"):
            raise forms.ValidationError(f"{typed!r} tells no kind of cells; needed: a number and a kind, like 12 FR6")
        return typed


@dataclass(frozen=True, kw_only=True)
class Page:
    """The page of one camera. other : it if it were visited today and set otherwise, with its sentence and curve."""

    reckoned: Reckoned
    today: date
    helps: tuple[Help, ...]
    lines: tuple[power_chart.Line, ...]
    causes: tuple[tuple[str, int], ...]
    assumed: tuple[Assumed, ...]
    guesses: int
    cautions: tuple[str, ...]
    as_is: str
    as_is_says: str
    as_is_now: dict[str, str]
    other: str = ""
    other_says: str = ""
    trouble: str = ""

    @property
    def forecast(self) -> forecasts.Forecast:
        return self.reckoned.forecast


CAUSE_WORDS = (("cells", "cells"), ("card", "card full"), ("fault", "fault or theft"))


def make(row: Deployment, now: datetime, *, price: Price, change: Change, units: str = "metric") -> Page:
    """Everything the page of a standing camera shows, worked out now."""
    reserve = row.site.reserve
    today = watch.local(now, reserve.zone).date()
    climate = outfits.climate_of(reserve)
    ((deployment, gear),) = forecasts.equipment(reserve, now, only=row)
    reckoned = forecasts.reckon(deployment, gear, climate=climate, today=today, close=True, price=price)
    told = reckoned.forecast
    gone = max(0, (today - told.start).days)
    as_is, as_is_stop = what_if.visited(gear, today=today, climate=climate)
    other = other_says = trouble = ""
    if not change.nothing:
        try:
            outfit, stop = what_if.visited(gear, today=today, climate=climate, change=change)
            other, other_says = outfit_change.words(outfit), stop.sentence()
        except WrongInput as wrong:
            trouble = str(wrong)
    end = power_chart.last_day(reckoned.by_cause, gone=gone)
    assumed = tuple(Assumed(a.what, in_units(a.value, units), in_units(a.source, units)) for a in told.assumed)
    return Page(
        reckoned=reckoned,
        today=today,
        helps=what_if.what_helps(gear, reckoned, today=today, climate=climate),
        lines=tuple(power_chart.lines(reckoned.by_cause, told.start, gone=gone)),
        causes=tuple(
            (words, round(100 * float(reckoned.by_cause[key][end])))
            for key, words in CAUSE_WORDS
            if float(reckoned.by_cause[key][end]) >= 0.005
        ),
        assumed=assumed,
        guesses=sum(a.guessed for a in assumed),
        cautions=told.caveats,
        as_is=outfit_change.words(as_is),
        as_is_says=as_is_stop.sentence(),
        as_is_now={
            "cells": as_is.pack.name,
            "card_gb": f"{as_is.card_gb:g}",
            "delay_s": f"{as_is.delay_s:g}",
            "burst": str(as_is.frames),
        },
        other=other,
        other_says=other_says,
        trouble=trouble,
    )


def in_units(text: str, units: str) -> str:
    """Degrees Celsius in a text as degrees Fahrenheit, for whoever reads those."""
    if units != "us":
        return text
    return re.sub(r"(-?\d+(?:\.\d+)?) °C", lambda found: f"{float(found[1]) * 9 / 5 + 32:.0f} °F", text)


def _price(form: PriceForm) -> Price:
    said = form.cleaned_data if form.is_valid() else {}
    return Price(
        travel_min=said.get("travel_min"), quiet_days=said.get("quiet_days"), losses_per_year=said.get("losses")
    )


def _change(form: ChangeForm) -> Change:
    said = form.cleaned_data if form.is_valid() else {}
    return Change(
        cells=said.get("cells") or None,
        card_gb=said.get("card_gb"),
        delay_s=said.get("delay_s"),
        burst=said.get("burst"),
    )


@require_GET
def power(request: HttpRequest, slug: str) -> HttpResponse:
    """How long one standing camera lasts. What is typed counts for this page and is not kept."""
    row = get_object_or_404(Deployment.objects.select_related("camera__model", "site__reserve", "card"), slug=slug)
    if row.end is not None:
        return render(request, "trod/cameras/power_ended.html", {"deployment": row}, status=200)
    now = timezone.now()
    price, change = PriceForm(request.GET or None), ChangeForm(request.GET or None)
    page = make(row, now, price=_price(price), change=_change(change), units=units_for(request, row.site.reserve))
    told = page.forecast
    for name, value in page.as_is_now.items():
        change.fields[name].widget.attrs["placeholder"] = value
    # The day stands above it already.
    why = told.go_why.partition(". ")[2] if told.go_why.startswith("Go ") else told.go_why
    context = {
        "why": why,
        "deployment": row,
        "page": page,
        "told": told,
        "price_form": price if price.errors else PriceForm(_shown(request, _price_now(page))),
        "change_form": change,
        "chart": json_script(_chart(page), "chart-data"),
        "charts_url": reverse("questions:charts_script", args=[script.stamp()]),
        "model_url": _model_url(row),
        "kept_price": [(name, request.GET[name]) for name in PriceForm.base_fields if request.GET.get(name)],
        "kept_change": [(name, request.GET[name]) for name in ChangeForm.base_fields if request.GET.get(name)],
    }
    return render(request, "trod/cameras/power.html", context)


def _price_now(page: Page) -> dict[str, Any]:
    hazard = page.reckoned.hazard_per_day
    return {
        "travel_min": f"{page.reckoned.price.travel_min:.0f}",
        "quiet_days": f"{page.reckoned.price.disturbance_days:g}",
        "losses": "" if hazard is None else f"{hazard * 365.25:.3g}",
    }


def _shown(request: HttpRequest, now: dict[str, Any]) -> dict[str, Any]:
    """What was typed, else what is reckoned with."""
    return {name: request.GET.get(name) or value for name, value in now.items()}


def _model_url(row: Deployment) -> str:
    if row.camera.model is not None:
        return reverse("cameras:model_edit", args=[row.camera.model.slug])
    return reverse("cameras:camera_edit", args=[row.camera.pk])


def _chart(page: Page) -> dict[str, Any]:
    told = page.forecast
    spec = power_chart.spec(
        page.reckoned.by_cause, told.start, today=page.today, plan_on=told.early, go_by=told.go_by, label=told.sentence
    )
    return {"spec": spec, "themes": {theme: charts.config(theme) for theme in ("light", "night", "paper")}}
