"""Pages: theft and damage, and how often a site loses a camera's days."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from trod import clock
from trod.catalogue.models import Camera, CostYear, Deployment, Incident, Reserve, Site
from trod.telling.maintenance import losses_of_all
from trod.web import seen
from trod.web.access import person
from trod.web.forms.common import offer_undo
from trod.web.forms.records import RecordPages
from trod.web.maintenance import incidents
from trod.web.maintenance.forms import IncidentForm

USUAL_STATE = {"theft": Camera.State.LOST, "fault": Camera.State.REPAIR}


@require_GET
def log(request: HttpRequest) -> HttpResponse:
    """What cameras suffered, newest first, and the rate of each site."""
    found, whole = incidents.rates(timezone.now())
    last = CostYear.objects.order_by("-year").first()
    rest = [r for r in found if r.borrowed and r.suggested is not None and not r.taken]
    context = {
        "rest": rest,
        "rest_sites": [r.site for r in rest],
        "rest_rate": rest[0].suggested if rest else None,
        "incidents": Incident.objects.select_related("site", "camera", "deployment"),
        "rates": found,
        "says": losses_of_all(whole),
        "currency": last.currency if last else "",
    }
    return render(request, "trod/maintenance/incidents.html", context)


class IncidentPages(RecordPages[Incident]):
    """Theft, damage and faults; the camera's state may follow."""

    model, form, related = Incident, IncidentForm, ("site",)
    address, among = "maintenance:incident", "maintenance:incidents"
    new, change, kept = "Theft or damage", "Change what happened", "It is written down."
    called = "what happened at {row.site} ({row.found_on})"

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        d = Deployment.objects.filter(slug=request.GET.get("deployment", "")).first()
        kind = request.GET.get("kind", "")
        return {
            "deployment": d,
            "site": None if d else Site.objects.filter(slug=request.GET.get("site", "")).first(),
            "found_on": clock.local(timezone.now(), reserve.zone if reserve else "UTC").date(),
            "by": person(request),
            "kind": kind if kind in Incident.Kind.values else "",
            "camera_becomes": USUAL_STATE.get(kind, ""),
        }

    def after(self, request: HttpRequest, form: IncidentForm, kept: Incident) -> str:
        state = form.cleaned_data.get("camera_becomes")
        if state and kept.camera and kept.camera.state != state:
            kept.camera.state = state
            kept.camera.save(update_fields=["state"])
        if state and kept.deployment and kept.deployment.end is None:
            messages.info(request, f"{kept.camera} still stands at {kept.site} by the records. Say when it ended.")
            return reverse("cameras:deployment_end", args=[kept.deployment.slug])
        return reverse("maintenance:incidents")


pages = IncidentPages()


@require_POST
def take_rate(request: HttpRequest, slug: str = "") -> HttpResponse:
    """Reckon a site, or all without an incident of their own, with the rate of the log from now on.

    It can be put back.
    """
    back = reverse("maintenance:incidents")
    found, _ = incidents.rates(timezone.now())
    mine = [r for r in found if (r.site.slug == slug if slug else r.borrowed) and r.suggested is not None]
    if not mine:
        messages.error(request, "The log says nothing that could be reckoned with. Write down what happened first.")
        return redirect(back)
    name = str(mine[0].site) if slug else "the sites without an incident"
    with transaction.atomic():
        for one in mine:
            seen.check(request, one.site, only=("losses_per_year",), mine=f"{one.suggested:g} a year from the log")
        offer_undo(request, f"Put {name} back as before", back, before=[Site.objects.get(pk=r.site.pk) for r in mine])
        for one in mine:
            one.site.losses_per_year = one.suggested
            one.site.save(update_fields=["losses_per_year"])
    messages.success(
        request, f"Reckoned with {mine[0].suggested:g} faults and thefts a year from now on: {name}.", extra_tags="undo"
    )
    return redirect(back)
