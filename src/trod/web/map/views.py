"""Map: sites, sign, the boundary."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from trod import clock, wording
from trod.catalogue import texts
from trod.catalogue.answers.summary import summaries
from trod.catalogue.models import Reserve, Sign, Site
from trod.catalogue.rounds import not_visited
from trod.errors import WrongInput
from trod.web import seen
from trod.web.access import person
from trod.web.addresses import whole
from trod.web.forms import lists, seasons
from trod.web.forms.common import RecordForm
from trod.web.forms.records import RecordPages, the_reserve
from trod.web.forms.sites import SignForm, SiteForm, TrackForm
from trod.web.map import pages

form_methods = require_http_methods(["GET", "POST"])


@require_GET
def reserve_map(request: HttpRequest) -> HttpResponse:
    """The map with sites and sign, and the same as a list beside it."""
    reserve = the_reserve()
    if reserve is None:
        return render(request, "trod/map.html", {"sites": []})
    asked = whole(request.GET.get("month", ""))
    month = asked if asked is not None and 1 <= asked <= 12 else None
    sites = list(reserve.sites.order_by("retired", "name"))
    for site in sites:
        site.reserve = reserve
    standing = pages.standing_cameras(reserve)
    sign = pages.sign_of_month(reserve, month)
    context = {
        "lines": [{"site": s, "cameras": standing.get(s.pk, [])} for s in sites],
        "data": pages.map_data(reserve, sites, standing, sign),
        "sign": sign[:200],
        "sign_count": len(sign),
        "month": month,
        "months": list(enumerate(wording.MONTHS, 1)),
        "month_name": wording.MONTHS[month - 1] if month else "",
    }
    return render(request, "trod/map.html", context)


@require_GET
def site(request: HttpRequest, slug: str) -> HttpResponse:
    """One site: what it is like, who stood there, what was seen, what came."""
    row = get_object_or_404(Site.objects.select_related("reserve"), slug=slug)
    deployments = list(row.deployments.select_related("camera", "site", "card").order_by("-start"))
    sums = summaries(deployments, row.reserve)
    months, came = pages.came_by_month(row)
    context = {
        "site": row,
        "closed": seasons.write(row.closed),
        "years": pages.years_of(deployments, row.reserve.zone, timezone.now()),
        "story": [{"deployment": d, "seen": sums[d.pk]} for d in deployments],
        "standing": [d for d in deployments if d.end is None],
        "missed": not_visited.listed(not_visited.at_site(row)),
        "visits": row.visits.select_related("deployment__camera")[:12],
        "sign": row.sign.select_related("species")[:12],
        "months": months,
        "came": came,
        "most": max((max(m) for _, m, _ in came), default=0),
        "shots": pages.latest_pictures(row),
        "days": sum(s.days_watched for s in sums.values()),
        "sequences": sum(s.sequences for s in sums.values()),
        "data": pages.map_data(row.reserve, [row], {row.pk: [d for d in deployments if d.end is None]}, []),
    }
    return render(request, "trod/map/site.html", context)


class SitePages(RecordPages[Site]):
    """Sites; a new one lies where the map was clicked, else in the reserve's middle."""

    model, form, related = Site, SiteForm, ("reserve",)
    address, among = "map:site", "map:map"
    new, kept, called = "New site", "The site {row} is kept.", "the site {row}"
    instead = "Put the tick at “retired” instead: then it stays for its history alone."
    no_reserve = "A site lies on a reserve: write that down first."

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        assert reserve is not None
        return {"latitude": reserve.latitude, "longitude": reserve.longitude} | _clicked(request)

    def more(self, request: HttpRequest, row: Site | None, form: RecordForm) -> dict[str, Any]:
        return {"lead": "" if row else "A click on the map of the page Map brings its place here too."}


class SignPages(RecordPages[Sign]):
    """Sign seen."""

    model, form, related = Sign, SignForm, ("reserve", "species")
    address, among = "map:sign", "map:map"
    new, kept, called = "Sign seen", "{row}: kept.", "the sign “{row}”"
    no_reserve = "Sign is seen on a reserve: write that down first."

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        assert reserve is not None
        return {
            "seen_on": clock.local(timezone.now(), reserve.zone).date(),
            "seen_by": person(request),
            "site": reserve.sites.filter(slug=request.GET.get("site", "")).first(),
            **_clicked(request),
        }


def _clicked(request: HttpRequest) -> dict[str, str]:
    """The place that a click on the map brought, from the address."""
    return {name: request.GET[name] for name in ("latitude", "longitude") if request.GET.get(name)}


site_pages, sign_pages = SitePages(), SignPages()


@form_methods
def tracks(request: HttpRequest) -> HttpResponse:
    """Tracks of a GPX file become the boundary or lines on the map."""
    reserve = the_reserve()
    if reserve is None:
        return redirect("people:reserve")
    form = TrackForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and request.POST.get("clear"):
        if request.POST["clear"] == "lines":
            kept = [
                f for f in pages.features(reserve.boundary) if "Polygon" in ((f.get("geometry") or {}).get("type") or "")
            ]
            with transaction.atomic():
                seen.check(request, reserve, only=("boundary",), mine="the lines taken off the map")
                reserve.boundary = {"type": "FeatureCollection", "features": kept} if kept else None
                reserve.save(update_fields=["boundary"])
            messages.success(request, "The lines are taken off the map; the boundary stays.")
        return redirect("map:tracks")
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            lines = pages.lines_of_gpx(texts.decode(file.read(lists.MOST_BYTES + 1)))
            reserve.boundary = pages.with_lines(
                reserve.boundary,
                lines,
                name=file.name.rsplit(".", 1)[0][:80],
                as_boundary=form.cleaned_data["use"] == "boundary",
            )
        except WrongInput as trouble:
            form.add_error("file", str(trouble))
        else:
            with transaction.atomic():
                seen.check(request, reserve, only=("boundary",), mine=f"the tracks of {file.name[:80]} on the map")
                reserve.save(update_fields=["boundary"])
            messages.success(request, f"{len(lines)} track{'s are' if len(lines) > 1 else ' is'} on the map.")
            return redirect("map:map")
    shapes = pages.features(reserve.boundary)
    context = {
        "form": form,
        "lines": sum("Line" in ((f.get("geometry") or {}).get("type") or "") for f in shapes),
        "boundaries": sum("Polygon" in ((f.get("geometry") or {}).get("type") or "") for f in shapes),
    }
    return render(request, "trod/map/tracks.html", context, status=422 if form.is_bound else 200)
