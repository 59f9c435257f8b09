"""Effort as a record: when every camera watched, silences that a person decides, and all of it by day as a table."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from trod import clock, wording
from trod.catalogue.answers import answers, effort_days
from trod.catalogue.answers.effort_days import Line
from trod.catalogue.models import Deployment, Reserve, Silence
from trod.catalogue.rows import rollups
from trod.errors import WrongInput
from trod.exchange import effort_days as table
from trod.web.access import person
from trod.web.shared.silences import LEAST_DAYS, line_of, open_ones

SAME_S = 1.0  # a silence is the one that was shown when its ends lie so close


@require_GET
def effort(request: HttpRequest) -> HttpResponse:
    """Every camera's watched, lost and open time; the silences that wait for a decision."""
    reserve = Reserve.objects.order_by("id").first()
    lines = effort_days.lines(reserve) if reserve else []
    rows = [
        {
            "deployment": line.deployment,
            "watched": line.watching.proven_days,
            "open": line.watching.open_days,
            "lost": line.watching.lost_days,
        }
        for line in lines
        if line.watching is not None
    ]
    waiting = [
        open_ones(line.deployment, line.watching)
        for line in lines
        if line.watching is not None and any(one.days >= LEAST_DAYS for one in line.watching.open)
    ]
    context = {
        "reserve": reserve,
        "rows": rows,
        "waiting": waiting,
        "decide": sum(len(one["open"]) for one in waiting),
        "watched": sum(line.watching.proven_days for line in lines if line.watching),
        "open": sum(line.watching.open_days for line in lines if line.watching),
        "lost": sum(line.watching.lost_days for line in lines if line.watching),
        "not_home": sum(line.watching is None for line in lines),
        "least": wording.number(LEAST_DAYS),
    }
    return render(request, "trod/cameras/effort.html", context)


@require_GET
def effort_csv(request: HttpRequest) -> HttpResponse:
    """Effort by day of every camera, in a period."""
    reserve = get_object_or_404(Reserve.objects.order_by("id")[:1])
    try:
        first, last = (answers.day(name, request.GET.get(name, "")) for name in ("from", "to"))
        if first and last and first > last:
            raise WrongInput("from", got=first.isoformat(), needed="a first day on or before the last day")
    except WrongInput as wrong:
        messages.error(request, f"Not exported: {wrong.got} is not what is needed: {wrong.needed}.")
        return redirect("cameras:effort")
    lines = effort_days.lines(reserve, first=first, last=last)
    text = table.text(day_rows(lines, reserve.zone, first=first, last=last))
    answer = HttpResponse(text, content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = 'attachment; filename="trod-effort-by-day.csv"'
    return answer


def day_rows(lines: list[Line], zone: str, **period: Any) -> Any:
    """The lines' days as the table takes them."""
    return ((d.site.slug, d.slug, d.camera.titled, day) for d, day in effort_days.by_day(lines, zone, **period))


@require_POST
def silence(request: HttpRequest, slug: str) -> HttpResponse:
    """Decide that a camera watched through an open silence, or that it did not."""
    row = get_object_or_404(Deployment.objects.select_related("camera", "site__reserve"), slug=slug)
    back = _back(request, row)
    found = line_of(row)
    try:
        ends = (float(request.POST["from"]), float(request.POST["to"]))
        says = {"yes": True, "no": False}[request.POST["watched"]]
    except (KeyError, ValueError):
        messages.error(request, "Nothing was decided: press one of the buttons beside a silence.")
        return redirect(back)
    shown = next(
        (
            one
            for one in (found.open if found else ())
            if abs(one.from_s - ends[0]) < SAME_S and abs(one.to_s - ends[1]) < SAME_S
        ),
        None,
    )
    if shown is None:
        messages.error(request, "That silence is no longer as it was shown, so nothing was decided. Look again.")
        return redirect(back)
    made = Silence.objects.create(
        deployment=row,
        from_at=datetime.fromtimestamp(shown.from_s, UTC),
        to_at=datetime.fromtimestamp(shown.to_s, UTC),
        watched=says,
        by=person(request)[:80],
        at=timezone.now(),
    )
    rollups.renew_line(row)
    zone = row.site.reserve.zone
    days = wording.period(clock.local(made.from_at, zone).date(), clock.local(made.to_at, zone).date())
    request.session["undo"] = {"what": "Undo", "at": reverse("cameras:silence_undo", args=[made.uuid])}
    does = "It counts as effort." if says else "It does not count as effort."
    messages.success(
        request,
        f"{row.camera} at {row.site} {'watched' if says else 'did not watch'}, {days}. {does}",
        extra_tags="undo",
    )
    return redirect(back)


@require_POST
def silence_undo(request: HttpRequest, uuid: Any) -> HttpResponse:
    """Take a decision back; it stays on record."""
    made = get_object_or_404(Silence.objects.select_related("deployment__site__reserve"), uuid=uuid)
    if made.undone_at is None:
        made.undone_at, made.undone_by = timezone.now(), person(request)[:80]
        made.save()
        rollups.renew_line(made.deployment)
        messages.success(request, "The decision is undone; nobody knows again whether the camera watched.")
    return redirect(_back(request, made.deployment))


def _back(request: HttpRequest, row: Deployment) -> str:
    """The page that the decision was made on, else the deployment's own."""
    to = request.POST.get("next", "")
    if url_has_allowed_host_and_scheme(to, allowed_hosts=None) and to.startswith("/"):
        return to
    return row.get_absolute_url() + "#silences"
