"""How long a standing camera lasts: its forecast, when to go, what it rests on, what would help, what if."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import json_script
from django.views.decorators.http import require_GET, require_http_methods

from trod import clock
from trod.catalogue.forecasts import forecasts, lasting
from trod.catalogue.forecasts.forecasts import Price
from trod.catalogue.forecasts.lasting import Lasting
from trod.catalogue.forecasts.outfits import Assumed
from trod.catalogue.models import Deployment, Job
from trod.planning.equipment.pack_text import pack_from
from trod.planning.last.outfit_change import Change
from trod.report import charts
from trod.telling import upkeep
from trod.units import system_of
from trod.web.cameras import power_chart
from trod.web.forms.common import units_for
from trod.web.shared import script


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
    disturbance_days = forms.FloatField(
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

    batteries = forms.CharField(label="Batteries", max_length=60, required=False, help_text="like 12 FR6 or 8 alkaline")
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

    def clean_batteries(self) -> str:
        typed = str(self.cleaned_data["batteries"]).strip()
        if typed and pack_from(typed)[1].nothing:
            raise forms.ValidationError(
                f"{typed!r} tells no kind of batteries; needed: a number and a kind, like 12 FR6"
            )
        return typed


@dataclass(frozen=True, kw_only=True)
class Page:
    """The page of one camera: what was worked out, as it is shown on a day."""

    of: Lasting
    today: date
    lines: tuple[power_chart.Line, ...]
    causes: tuple[tuple[str, int], ...]
    assumed: tuple[Assumed, ...]
    guesses: int

    @property
    def forecast(self) -> forecasts.Forecast:
        return self.of.forecast


CAUSE_WORDS = (("batteries", "batteries"), ("card", "card full"), ("fault", "fault or theft"))


def page_of(found: Lasting, today: date, *, units: str = "metric") -> Page:
    """What was worked out, as it is shown."""
    told = found.forecast
    gone = max(0, (today - told.start).days)
    end = power_chart.last_day(found.by_cause, gone=gone)
    assumed = tuple(a.told(system_of(units)) for a in told.assumed)
    return Page(
        of=found,
        today=today,
        lines=tuple(power_chart.lines(found.by_cause, told.start, gone=gone)),
        causes=tuple(
            (words, round(100 * float(found.by_cause[key][end])))
            for key, words in CAUSE_WORDS
            if float(found.by_cause[key][end]) >= 0.005
        ),
        assumed=assumed,
        guesses=sum(a.guessed for a in assumed),
    )


def _price(form: PriceForm) -> Price:
    said = form.cleaned_data if form.is_valid() else {}
    return Price(
        travel_min=said.get("travel_min"),
        disturbance_days=said.get("disturbance_days"),
        losses_per_year=said.get("losses"),
    )


def _change(form: ChangeForm) -> Change:
    said = form.cleaned_data if form.is_valid() else {}
    return Change(
        batteries=said.get("batteries") or None,
        card_gb=said.get("card_gb"),
        delay_s=said.get("delay_s"),
        burst=said.get("burst"),
    )


def _standing(slug: str) -> Deployment:
    return get_object_or_404(Deployment.objects.select_related("camera__model", "site__reserve", "card"), slug=slug)


@require_GET
def power(request: HttpRequest, slug: str) -> HttpResponse:
    """How long one standing camera lasts. What is typed counts for this page and is not kept."""
    row = _standing(slug)
    if row.end is not None:
        return render(request, "trod/cameras/power_ended.html", {"deployment": row}, status=200)
    now = timezone.now()
    price, change = PriceForm(request.GET or None), ChangeForm(request.GET or None)
    held = lasting.kept(row, _price(price), _change(change), now)
    context: dict[str, Any] = {
        "deployment": row,
        "charts_url": reverse("questions:charts_script", args=[script.stamp()]),
        "work_url": _work_url(request, row),
    }
    if held is None:  # what the list of cameras is told, in the meantime
        told = forecasts.kept(row.site.reserve, now).forecasts.get(row.slug)
        why = upkeep.go(told.go) if told is not None else ""
        context |= {"told": told, "why": why, "change_form": change, "price_form": price}
        return render(request, "trod/cameras/power_wait.html", context)
    page = page_of(
        held.lasting, clock.local(now, row.site.reserve.zone).date(), units=units_for(request, row.site.reserve)
    )
    told = page.forecast
    for name, value in page.of.as_is_now.items():
        change.fields[name].widget.attrs["placeholder"] = value
    context |= {
        "why": upkeep.reason(told.go),  # the day stands above it already
        "page": page,
        "told": told,
        "age": forecasts.age(held.made_at, now) if held.stale else "",
        "price_form": price if price.errors else PriceForm(_shown(request, _price_now(page))),
        "change_form": change,
        "chart": json_script(_chart(page), "chart-data"),
        "model_url": _model_url(row),
        "kept_price": [(name, request.GET[name]) for name in PriceForm.base_fields if request.GET.get(name)],
        "kept_change": [(name, request.GET[name]) for name in ChangeForm.base_fields if request.GET.get(name)],
    }
    return render(request, "trod/cameras/power.html", context)


@require_http_methods(["GET", "POST"])
def power_work(request: HttpRequest, slug: str) -> HttpResponse:
    """Ask the worker for it (POST), and whether it is there (GET). The page loads itself again when it is."""
    row = _standing(slug)
    page = f"{reverse('cameras:power', args=[row.slug])}?{request.GET.urlencode()}".rstrip("?")
    price, change = _price(PriceForm(request.GET or None)), _change(ChangeForm(request.GET or None))
    if row.end is None and request.method == "POST":
        job: Job | None = lasting.ask(row, price, change)
    else:
        held = None if row.end is not None else lasting.kept(row, price, change, timezone.now())
        if row.end is not None or (held is not None and not held.stale):
            return HttpResponse(headers={"HX-Refresh": "true"})
        job = lasting.job_of(lasting.args_of(row, price, change))
    if not request.headers.get("HX-Request"):
        return redirect(page)
    return render(request, "trod/cameras/power_bar.html", {"job": job, "work_url": _work_url(request, row)})


def _work_url(request: HttpRequest, row: Deployment) -> str:
    return f"{reverse('cameras:power_work', args=[row.slug])}?{request.GET.urlencode()}".rstrip("?")


def _price_now(page: Page) -> dict[str, Any]:
    hazard = page.of.hazard_per_day
    return {
        "travel_min": f"{page.of.price.travel_min:.0f}",
        "disturbance_days": f"{page.of.price.disturbance_days:g}",
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
        page.of.by_cause, told.start, today=page.today, plan_on=told.early, go_by=told.go_by, label=told.sentence
    )
    return {"spec": spec, "themes": {theme: charts.config(theme) for theme in ("light", "night", "paper")}}
