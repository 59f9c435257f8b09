from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod.catalogue import jobs
from trod.catalogue.answers import answers, evidence, making
from trod.catalogue.answers.making import Wish
from trod.catalogue.models import Job, Reserve
from trod.errors import NotEnoughEvidence, TrodError, WrongInput
from trod.findings import localtime
from trod.plain import plain
from trod.web import access
from trod.web.forms import common as forms_common
from trod.web.pages import HtmxRequest
from trod.web.reading import without_waiting
from trod.web.shared import spans

SPECIES_PAGES = (
    (0, "none"),
    (1, "the most frequent one"),
    (3, "the three most frequent"),
    (6, "the six most frequent"),
)


@require_GET
@without_waiting
def reports(request: HttpRequest) -> HttpResponse:
    return _page(request, Wish(first=request.GET.get("from", "")[:10], last=request.GET.get("to", "")[:10]))


def _page(request: HttpRequest, wish: Wish, problems: list[str] | None = None, status: int = 200) -> HttpResponse:
    reserve = Reserve.objects.order_by("id").first()
    context: dict[str, Any] = {
        "made": making.made(),
        "wish": wish,
        "problems": problems or [],
        "work": list(Job.objects.filter(kind="report").exclude(state__in=["done", "cancelled"])[:5]),
        "species_pages": SPECIES_PAGES,
    }
    if reserve is not None:
        account = evidence.gather(reserve)
        # Periods that somebody may want lie where cameras watched, not after.
        ends = [end for d in account.evidence.deployments for _, end in d.watched]
        today = localtime.local_date(max(ends, default=timezone.now().timestamp()), reserve.zone)
        seasons = spans.seasons(today, reserve.latitude, 5)
        year = today.year
        context.update(
            sites=answers.known_sites(account),
            sensitive=any(site.sensitive for site in account.evidence.sites),
            empty=not any(d.watched for d in account.evidence.deployments),
            periods=[
                ("All there is", "", ""),
                *((label, a.isoformat(), min(b, today).isoformat()) for label, a, b in seasons),
                *((str(y), f"{y}-01-01", f"{y}-12-31") for y in (year, year - 1)),
            ],
        )
    return render(request, "trod/reports.html", context, status=status)


def _wish(request: HttpRequest) -> Wish:
    given = request.POST
    count = given.get("species_pages", "3")
    return Wish(
        first=given.get("from", "")[:10],
        last=given.get("to", "")[:10],
        sites=tuple(given.getlist("site")[:500]),
        paper=given.get("paper", "a4"),
        most_species=int(count) if count.isascii() and count.isdigit() and len(count) < 3 else 3,
        tables=given.get("tables") == "1",
        show_sensitive=given.get("show_sensitive") == "1",
        title=given.get("title", "").replace("\0", "").strip()[:120],
        units=forms_common.units_for(request, Reserve.objects.order_by("id").first()),
    )


@require_POST
def make(request: HttpRequest) -> HttpResponse:
    """Make a report: at once when that is quick, else as a job."""
    wish, by = _wish(request), access.person(request)
    try:
        reserve = answers.the_reserve()
        making.filter_of(wish)
        if making.is_long_work(reserve):
            job = jobs.ask("report", plain(wish), by=by, total=3)
            return redirect("reports:work", pk=job.pk)
        name = making.make(wish, by=by, now=timezone.now())
    except NotEnoughEvidence as trouble:
        return _page(request, wish, [f"No report: {trouble.have}; {trouble.need}."], status=422)
    except TrodError as trouble:
        status = 400 if isinstance(trouble, WrongInput) else 409
        return _page(request, wish, [str(trouble)], status=status)
    messages.success(request, "The report is made; it stands on top of the list.")
    return redirect(f"{reverse('reports:reports')}#{name}")


@require_GET
def work(request: HtmxRequest, pk: int) -> HttpResponse:
    """How far the making of a report is."""
    job = get_object_or_404(Job, pk=pk, kind="report")
    if job.state == Job.State.DONE and not request.htmx:
        messages.success(request, "The report is made; it stands on top of the list.")
        return redirect("reports:reports")
    answer = render(request, _template(request), {"job": job})
    if job.state == Job.State.DONE:
        answer.headers["HX-Redirect"] = request.path
    return answer


def _template(request: HtmxRequest) -> str:
    return "trod/reports_bar.html" if request.htmx else "trod/reports_work.html"


@require_GET
def file(request: HttpRequest, name: str, ending: str) -> HttpResponseBase:
    path = making.file_of(name, ending)
    if path is None:
        raise Http404("There is no report of that name.")
    kind = "application/pdf" if ending == "pdf" else "application/zip"
    answer = FileResponse(path.open("rb"), content_type=kind, as_attachment=ending == "zip", filename=f"{name}.{ending}")
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cache-Control"] = "private, no-cache"
    return answer


@require_http_methods(["GET", "POST"])
def delete(request: HttpRequest, name: str) -> HttpResponse:
    """Throw a made report away, once asked."""
    found = next((m for m in making.made() if m.name == name), None)
    if found is None:
        raise Http404("There is no report of that name.")
    if request.method == "POST":
        making.remove(name)
        messages.success(request, f"Thrown away: {found.title}, {found.period}")
        return redirect("reports:reports")
    return render(request, "trod/reports_delete.html", {"one": found})
