"""Cameras, deployments, watches, cards by label."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.db.models import Count, F, Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from trod import clock, wording
from trod.catalogue.answers.summary import summaries, visits_by_deployment
from trod.catalogue.forecasts import forecasts
from trod.catalogue.imports.clocks import proposals
from trod.catalogue.models import Camera, Card, Deployment, Picture, Placement, Reserve, Site
from trod.catalogue.rows import changes
from trod.errors import TrodError
from trod.web.access import person
from trod.web.cameras import clock_views
from trod.web.forms.cameras import CameraForm, CardForm, DeploymentForm, EndForm, camera_asked, offset_words
from trod.web.forms.common import RecordForm, back_to, form_page
from trod.web.forms.records import RecordPages, the_reserve, typist
from trod.web.shared import placements, silences, timelines
from trod.web.shared.timeline_lines import timelines as timelines_of

form_methods = require_http_methods(["GET", "POST"])


def _now() -> datetime:
    return timezone.now().replace(second=0, microsecond=0)


# Cameras ----------------------------------------------------------------------------------------------------


@require_GET
def cameras(request: HttpRequest) -> HttpResponse:
    """Every camera: where it is, since when, what it last brought."""
    reserve = the_reserve()
    standing = Deployment.objects.filter(end__isnull=True).select_related("site", "card")
    rows = list(
        Camera.objects.select_related("model").prefetch_related(Prefetch("deployments", standing, to_attr="standing"))
    )
    latest: dict[int, Deployment] = {}
    for deployment in Deployment.objects.select_related("site").order_by("camera", "start"):
        latest[deployment.camera_id] = deployment
    visits = visits_by_deployment(deployment.pk for deployment in latest.values())
    sums = summaries(latest.values(), reserve)
    lines: list[dict[str, Any]] = []
    for camera in rows:
        d: Deployment | None = camera.standing[0] if camera.standing else latest.get(camera.pk)
        seen = sums.get(d.pk) if d else None
        of = visits.get(d.pk, []) if d else []
        lines.append(
            {
                "camera": camera,
                "deployment": d,
                "standing": bool(camera.standing),
                "last_at": seen.last_at if seen else None,
                "per_day": seen.sequences_per_day if seen else None,
                "visit": of[-1] if of else None,
            }
        )
    state = request.GET.get("state", "")
    counts = {of: sum(line["camera"].state == of for line in lines) for of in Camera.State.values}
    if state in counts:
        lines = [line for line in lines if line["camera"].state == state]
    choices = [(of, label, counts[of]) for of, label in Camera.State.choices if counts[of]]
    context = {"lines": lines, "choices": choices, "state": state, "total": len(rows)}
    return render(request, "trod/cameras.html", context)


@require_GET
def camera(request: HttpRequest, pk: int) -> HttpResponse:
    """One camera's story."""
    row = get_object_or_404(Camera.objects.select_related("model"), pk=pk)
    reserve = the_reserve()
    deployments = list(row.deployments.select_related("site", "card", "camera").order_by("-start"))
    visits = visits_by_deployment(d.pk for d in deployments)
    sums = summaries(deployments, reserve)
    story = [{"deployment": d, "seen": sums[d.pk], "visits": len(visits.get(d.pk, ()))} for d in deployments]
    by_pk = {d.pk: d for d in deployments}
    every = [(v, by_pk[pk]) for pk, of in visits.items() for v in of]
    every.sort(key=lambda pair: pair[0].at, reverse=True)
    condition = []
    for v, d in every[:30]:
        error_s = clock.error_s(v.clock_shown, v.clock_true, d.utc_offset_min)
        condition.append({"visit": v, "site": d.site, "clock": _clock_told(error_s)})
    context = {
        "camera": row,
        "story": story,
        "condition": condition,
        "standing": next((d for d in deployments if d.end is None), None),
        "sequences": sum(s.sequences for s in sums.values()),
        "days": sum(s.days_watched for s in sums.values()),
    }
    return render(request, "trod/cameras/camera.html", context)


class CameraPages(RecordPages[Camera]):
    """Cameras; a new one is most likely of the last one's model."""

    model, form = Camera, CameraForm
    address, among = "cameras:camera", "cameras:cameras"
    new, kept, called = "New camera", "The camera {row} is kept.", "the camera {row}"
    instead = "Set its state to retired instead."

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        last = Camera.objects.order_by("-pk").first()
        return {"model": last.model_id} if last else {}


# Cards ------------------------------------------------------------------------------------------------------


class CardPages(RecordPages[Card]):
    """Cards; a new one is most likely as large as the last."""

    model, form = Card, CardForm
    address, among = "cameras:card", "cameras:cards"
    new, change, kept, called = "New card", "Card {row}", "The card {row} is kept.", "the card {row}"

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        last = Card.objects.order_by("-pk").first()
        return {"size_gb": last.size_gb} if last else {}


# Deployments ------------------------------------------------------------------------------------------------


@require_GET
def deployment(request: HttpRequest, slug: str) -> HttpResponse:
    """One deployment: settings, clock, visits, its activity timeline, gaps and effort."""
    row = get_object_or_404(Deployment.objects.select_related("camera__model", "site__reserve", "card"), slug=slug)
    reserve = row.site.reserve
    now = timezone.now()
    visits = list(row.visits.select_related("card_out", "card_in").order_by("at"))
    seen = summaries([row], reserve)[row.pk]
    zone = reserve.zone
    first = clock.local(row.start, zone).date()
    today = clock.local(now, zone).date()
    last = max(clock.local(row.end, zone).date() if row.end else today, first + timedelta(days=29))
    foretold = forecasts.kept(reserve, now).forecasts.get(row.slug) if row.end is None else None
    told_of = {row.slug: foretold} if foretold else {}
    (line,) = timelines_of([row], {row.pk: seen}, {row.pk: visits}, zone, first, max(last, today), told_of)
    if foretold is not None:
        last = max(last, min(foretold.late or today, today + timedelta(days=365)), today + timedelta(days=60))
    told = []
    for v in visits:
        error_s = clock.error_s(v.clock_shown, v.clock_true, row.utc_offset_min)
        told.append(
            {
                "visit": v,
                "error": error_s,
                "clock": _clock_told(error_s),
            }
        )
    context = {
        "deployment": row,
        "seen": seen,
        "visits": told[::-1],
        "proposed": proposals(row),
        "work": clock_views.work_on(row),
        "hatchings": timelines.hatchings(),
        "svg": timelines.draw(line, first=first, last=last, today=today),
        "hover": timelines.hover(line, first=first, last=min(last, max(today, first)) if foretold else last),
        "ahead": timelines.hover_ahead(line, today=today, last=last),
        "foretold": foretold,
        "first": first,
        "days": (last - first).days + 1,
        "months": [{"label": label, "left": f"{place * 100:.2f}"} for label, place, _ in timelines.months(first, last)],
        "corrections": row.clock_corrections.all(),
        "offset": offset_words(row.utc_offset_min),
        # What came over, without what is no picture: as many as counting its pictures would find.
        "imports": row.imports.select_related("card").annotate(n=F("new") - Count("kept_files")),
        "silences": silences.silences(row, silences.line_of(row)),
        "shots": Picture.objects.filter(deployment=row).order_by("-taken_at").values_list("sha256", flat=True)[:6],
    }
    return render(request, "trod/cameras/deployment.html", context)


def _deployment_start(request: HttpRequest) -> dict[str, Any]:
    """What a new deployment most likely is: the placement, site and camera asked for, the settings of the last one."""
    placement = _placement(request)
    site = placement.site if placement else Site.objects.filter(slug=request.GET.get("site", "")).first()
    camera = camera_asked(request)
    like = Deployment.objects.order_by("-start")
    last = (site and like.filter(site=site).first()) or (camera and like.filter(camera=camera).first()) or like.first()
    initial: dict[str, Any] = {"start": _now(), "site": site, "camera": camera, "set_by": person(request)}
    if last:
        kept = ("mode", "burst", "delay_s", "sensitivity", "time_lapse_h", "batteries")
        initial |= {name: getattr(last, name) for name in kept}
        if site and last.site_id == site.pk:
            initial |= {n: getattr(last, n) for n in ("height_m", "tilt_deg", "heading_deg", "aim_distance_m")}
    if placement:
        if camera is None and placement.camera_model_id:
            at_home = Camera.objects.filter(model=placement.camera_model_id, state=Camera.State.READY)
            initial["camera"] = at_home.first()
        initial |= placements.deployment_start(placement, year=timezone.now().year)
    # Settings that the adviser hands over in the address go before the last deployment's.
    asked = ("mode", "burst", "delay_s", "sensitivity", "time_lapse_h")
    initial |= {name: request.GET[name] for name in asked if request.GET.get(name)}
    return initial


def _placement(request: HttpRequest) -> Placement | None:
    """The placement that a new deployment is to follow, from the address."""
    try:
        asked = uuid.UUID(request.GET.get("placement", ""))
    except ValueError:
        return None
    return Placement.objects.select_related("site__reserve", "camera_model").filter(uuid=asked).first()


class DeploymentPages(RecordPages[Deployment]):
    """Deployments. A new one may follow a placement; times and sequences follow a changed clock."""

    model, form = Deployment, DeploymentForm
    address, among = "cameras:deployment", "cameras:cameras"
    new, kept, called = "New deployment", "The deployment {row} is kept.", "the deployment {row}"
    instead = "Pictures are never deleted by Trod; end the deployment instead."

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        return _deployment_start(request)

    def arguments(self, request: HttpRequest, row: Deployment | None, reserve: Reserve | None) -> dict[str, Any]:
        placement = None if row else _placement(request)
        begun = Deployment(placement=placement) if placement else None
        return super().arguments(request, row, reserve) | {"instance": row or begun}

    def more(self, request: HttpRequest, row: Deployment | None, form: RecordForm) -> dict[str, Any]:
        if row is not None:
            return {}
        placement, site = form.instance.placement, form.initial.get("site")
        words = f"Work the placement out on the placement planner of {site}"
        aside = (reverse("planner:planner", args=[site.slug]), words) if site and not placement else None
        return {"lead": _missing() or _as_placed(placement), "aside": aside}

    def after(self, request: HttpRequest, form: DeploymentForm, kept: Deployment) -> str:
        changes.follow_deployment(kept)
        if form.kept_as and form.kept_as["utc_offset_min"] != str(kept.utc_offset_min):
            _follow_clock(request, kept)
        return kept.get_absolute_url()


def _as_placed(placement: Placement | None) -> str:
    return (
        f"Filled in from “{placement}” of the placement planner. Put in what was really done, where it came out otherwise."  # noqa: E501
        if placement
        else ""
    )


def _clock_told(error_s: float | None) -> str:
    """What a visit read of a camera's clock; nothing where it was not read."""
    if error_s is None:
        return ""
    return "right" if abs(error_s) < 1 else wording.clock_error(error_s)


def _missing() -> str:
    if not Site.objects.exists():
        return "There is no site yet: make one on Map first."
    return "" if Camera.objects.exists() else "There is no camera yet: make one on Cameras first."


def _follow_clock(request: HttpRequest, row: Deployment) -> None:
    """Times and sequences follow the clock. Said to the person, also when it fails."""
    try:
        from trod.catalogue.imports.clocks import follow
        from trod.catalogue.line import Silent

        for sentence in follow(row, Silent()):
            messages.info(request, sentence)
    except TrodError as trouble:
        messages.error(request, str(trouble))


@form_methods
def deployment_end(request: HttpRequest, slug: str) -> HttpResponse:
    """Retrieve a camera: the end, what was found, and where the card goes."""
    row = get_object_or_404(Deployment.objects.select_related("camera", "site", "card"), slug=slug)
    if row.end is not None:
        messages.info(request, f"{row} has ended already. Its end can be changed there.")
        return redirect(row)
    form = EndForm(request.POST or None, instance=row, initial={"end": _now()}, **typist(request, the_reserve()))
    if row.card is None:
        del form.fields["bring"]
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        changes.end(
            row,
            arrival=said["found"],
            card_home=said.get("bring", False),
            by=person(request),
            note=said["note_more"],
        )
        messages.success(request, f"{row.camera} is retrieved from {row.site}.")
        return redirect(back_to(request, row.get_absolute_url()))
    return form_page(
        request,
        form,
        title=f"Take {row.camera} down from {row.site}",
        kept="",
        act="Retrieve",
        back=row.get_absolute_url(),
    )


camera_pages, card_pages, deployment_pages = CameraPages(), CardPages(), DeploymentPages()
