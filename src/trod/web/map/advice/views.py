"""Settings for a site, and sites for a month. Nothing here writes."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod import clock, wording
from trod.catalogue.answers import prefill
from trod.catalogue.models import CameraModel, Deployment, Reserve, Sign, Site, Species
from trod.catalogue.rows.specs import spec_of
from trod.errors import WrongInput
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place import adviser, season
from trod.telling import season as told_season
from trod.telling import settings as told
from trod.telling.settings import AIMS
from trod.units import System, system_of
from trod.web.forms.common import units_for
from trod.web.map import pages as ground_pages
from trod.web.map.advice import seasonal, settings
from trod.web.reading import without_waiting

USUAL_CAMERA = CameraSpec(maker="Any", model="camera")


@require_GET
def site_settings(request: HttpRequest, slug: str) -> HttpResponse:
    """What to set at a site, why, and at what price."""
    site = get_object_or_404(Site.objects.select_related("reserve"), slug=slug)
    now = timezone.now()
    start = prefill.start_of(site, now)
    form = settings.WishForm(request.GET or None, start=start, system=units_for(request, site.reserve))
    context: dict[str, Any] = {"site": site, "form": form, "start": start}
    status = 200
    try:
        if form.is_valid():
            context |= _advice(site, form, clock.local(now, site.reserve.zone).date())
        else:
            status = 422
    except WrongInput as trouble:
        form.add_error(None, str(trouble))
        status = 422
    return render(request, "trod/advice/settings.html", context, status=status)


def _advice(site: Site, form: settings.WishForm, today: Any) -> dict[str, Any]:
    row = CameraModel.objects.filter(slug=form.cleaned_data["model"]).first()
    spec = spec_of(row) if row is not None else USUAL_CAMERA
    wish = form.wish(site)
    advice = adviser.advise(spec, wish)
    system = system_of(form.system)
    guessed = [
        word
        for name, word in (("idle_mw", "what it draws while waiting"), ("wake_j", "a trigger"),
                           ("day_frame_j", "a day picture"), ("night_frame_j", "a night picture"))
        if spec.figure(name).origin == "assumed"
    ]  # fmt: skip
    return {
        "advice": advice,
        "sentence": settings.sentence(advice),
        "choices": settings.choices(advice, system),
        "cautions": told.cautions(advice, system),
        "price": told.price(advice.price) if advice.price else "",
        "camera_settings": settings.camera_settings(advice.inputs),
        "deployment_link": settings.deployment_link(site, advice.inputs),
        "lasting": settings.lasting(spec, advice.inputs, wish, site, start=today),
        "model": row,
        "guessed": ", ".join(guessed),
    }


@require_GET
@without_waiting
def by_season(request: HttpRequest) -> HttpResponse:
    """Which sites promise most in a month, with every point told."""
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        return render(request, "trod/advice/season.html", {})
    today = clock.local(timezone.now(), reserve.zone).date()
    asked = request.GET.get("month", "")
    month = int(asked) if asked.isascii() and asked.isdigit() and 1 <= int(asked[:3]) <= 12 else today.month
    aim = request.GET.get("aim", "")
    known = list(Species.objects.filter(active=True).values_list("name", flat=True))
    species = request.GET.get("species", "")
    species = species if species in known else ""
    aim = aim if aim in AIMS else ""
    sites = list(reserve.sites.filter(retired=False).order_by("name"))
    for site in sites:
        site.reserve = reserve
    standing = ground_pages.standing_cameras(reserve)
    found = season.rank(
        seasonal.places(sites, set(standing)),
        seasonal.signs(Sign.objects.filter(reserve=reserve)),
        on=seasonal.day_for(month, today),
        aim=aim or None,  # type: ignore[arg-type]
        species=species,
        came=seasonal.came(reserve, sites, month, species),
    )
    system = system_of(units_for(request, reserve))
    by_name = {site.name: site for site in sites}
    lines = [_line(n, one, by_name[one.place.name], standing, system) for n, one in enumerate(found, 1)]
    data = ground_pages.map_data(reserve, [line["site"] for line in lines], standing, [])
    for shown, line in zip(data["sites"], lines, strict=True):
        shown["rank"] = line["n"]
    context = {
        "lines": lines,
        "data": data,
        "sentence": told_season.sentence(found, month, aim or None, species, system),  # type: ignore[arg-type]
        "month": month,
        "month_name": wording.MONTHS[month - 1],
        "months": [(n, name[:3], name) for n, name in enumerate(wording.MONTHS, 1)],
        "aim": aim,
        "aims": list(AIMS.items()),
        "species": species,
        "known": known,
        "on": seasonal.day_for(month, today),
    }
    return render(request, "trod/advice/season.html", context)


def _line(
    n: int, one: season.Candidate, site: Site, standing: dict[int, list[Deployment]], system: System
) -> dict[str, Any]:
    return {
        "n": n,
        "site": site,
        "points": f"{one.points:.1f}".replace("-", "−"),
        "parts": [
            (f"{part.points:+.1f}".replace("-", "−"), told_season.part(part, system), part.points > 0)
            for part in sorted(one.parts, key=lambda part: -part.points)
        ],
        "answers": told_season.answers(one),
        "cautions": told_season.minded(one),
        "cameras": standing.get(site.pk, []),
        "closed": one.month in one.place.closed,
    }
