"""Corrections of a camera's clock: said, undone, and how far the pictures have followed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import clock, wording
from trod.catalogue.imports import clocks
from trod.catalogue.models import ClockCorrection, Deployment, Job
from trod.errors import TrodError
from trod.web.access import person
from trod.web.addresses import whole
from trod.web.forms.cameras import ClockForm, offset_words

FOLLOWS = "Times and sequences follow meanwhile; the bar below tells how far they are."


@require_http_methods(["GET", "POST"])
def clock_new(request: HttpRequest, slug: str) -> HttpResponse:
    """Correct a camera's clock."""
    row = get_object_or_404(Deployment.objects.select_related("camera", "site__reserve"), slug=slug)
    reserve = row.site.reserve
    initial: dict[str, Any] = {}
    visit = None
    if (number := whole(request.GET.get("visit", ""))) is not None:
        visit = row.visits.filter(pk=number).first()
    if visit and visit.clock_shown and visit.clock_true:
        initial = {
            "shown": visit.clock_shown,
            "truly": visit.clock_true,
            "to_raw": visit.clock_shown,
            "reason": f"read at the visit of {wording.day(clock.local(visit.at, reserve.zone))}",
        }
    form = ClockForm(request.POST or None, deployment=row, reserve=reserve, initial=initial)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        later = clocks.is_long_work(row)
        try:
            made, told = clocks.correct(
                row,
                shift_s=form.shift_s,
                reason=said["reason"],
                by=person(request),
                now=timezone.now(),
                from_raw=clocks.naive(said["from_raw"]),
                to_raw=clocks.naive(said["to_raw"]),
                later=later,
            )
        except TrodError as trouble:
            form.add_error(None, str(trouble))
        else:
            follows = FOLLOWS if later else "Times and sequences follow."
            messages.success(request, f"The clock is corrected by {wording.clock_error(-made.shift_s)}. {follows}")
            for sentence in told:
                messages.info(request, sentence)
            return redirect(row.get_absolute_url() + "#clock")
    return render(
        request,
        "trod/cameras/clock.html",
        {
            "deployment": row,
            "form": form,
            "offset": offset_words(row.utc_offset_min),
            "proposed": clocks.proposals(row) if request.method == "GET" else [],
        },
        status=422 if form.is_bound else 200,
    )


@require_POST
def clock_by_visit(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Correct a camera's clock up to a visit by the two times that the visit holds; one press, and one to undo it."""
    row = get_object_or_404(Deployment.objects.select_related("camera", "site__reserve"), slug=slug)
    visit = get_object_or_404(row.visits, pk=pk)
    proposed = next((one for one in clocks.proposals(row) if one.visit == visit.pk), None)
    if proposed is None:
        messages.info(
            request,
            f"Nothing to correct by the visit of {wording.day(clock.local(visit.at, row.site.reserve.zone))}: "
            "it does not hold both times, no picture lies before it, or a correction speaks of that time already.",
        )
        return redirect(f"{reverse('cameras:clock_new', args=[slug])}?visit={pk}")
    later = clocks.is_long_work(row)
    try:
        made, told = clocks.correct(
            row,
            shift_s=proposed.shift_s,
            drift_s_per_day=proposed.drift_s_per_day,
            reason=proposed.reason,
            by=person(request),
            now=timezone.now(),
            from_raw=proposed.from_raw,
            to_raw=proposed.to_raw,
            later=later,
        )
    except TrodError as trouble:
        messages.error(request, str(trouble))
        return redirect(f"{reverse('cameras:clock_new', args=[slug])}?visit={pk}")
    request.session["undo"] = {"what": "Undo the correction", "at": reverse("cameras:clock_undo", args=[made.pk])}
    messages.success(
        request,
        f"{row.camera} at {row.site}: {proposed.sentence} "
        f"It is corrected for {wording.plural(proposed.pictures, 'picture')}. "
        f"{FOLLOWS if later else 'Times and sequences follow.'}",
        extra_tags="undo",
    )
    for sentence in told:
        messages.info(request, sentence)
    return redirect("today:today")


@require_POST
def clock_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a correction back; it stays on record."""
    row = get_object_or_404(ClockCorrection.objects.select_related("deployment"), pk=pk)
    later = clocks.is_long_work(row.deployment)
    try:
        told = clocks.undo(row, by=person(request), now=timezone.now(), later=later)
    except TrodError as trouble:
        messages.error(request, str(trouble))
    else:
        messages.success(request, f"The correction is undone. {FOLLOWS if later else 'Times and sequences follow.'}")
        for sentence in told:
            messages.info(request, sentence)
    return redirect(row.deployment.get_absolute_url() + "#clock")


def work_on(deployment: Deployment) -> Job | None:
    """The last job that brings a deployment up to its clock, as long as it is not done."""
    found = Job.objects.filter(kind=clocks.JOB, args={"deployment": deployment.slug}).first()
    return found if found and found.state not in (Job.State.DONE, Job.State.CANCELLED) else None


@require_GET
def clock_work(request: HttpRequest, slug: str) -> HttpResponse:
    """How far a deployment's pictures have followed its clock; for the bar on its page."""
    row = get_object_or_404(Deployment, slug=slug)
    work = work_on(row)
    answer = render(request, "trod/cameras/clock_bar.html", {"deployment": row, "work": work})
    if work is None:
        answer.headers["HX-Redirect"] = row.get_absolute_url() + "#clock"
    return answer
