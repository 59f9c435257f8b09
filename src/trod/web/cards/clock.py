"""Faults of a camera's clock that a card shows: put right, or the clock said to be right, each undone with one press."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from trod.catalogue.imports import clock_checks
from trod.catalogue.models import Import
from trod.errors import TrodError
from trod.telling import clock_faults
from trod.web.access import person


@require_POST
def fault(request: HttpRequest, name: str, number: int) -> HttpResponse:
    """Answer one fault: `how` is "proposed", "right", or the number of what was offered."""
    row = get_object_or_404(Import.objects.select_related("deployment__site__reserve", "deployment__camera"), name=name)
    found = dict(clock_checks.open_faults(row, clock_checks.look(row)))
    one = found.get(number)
    how = request.POST.get("how", "")
    if one is None or row.deployment is None:
        messages.info(request, "Nothing to correct there any more: a correction speaks of that time already.")
        return redirect("cards:card_import", name=name)
    offered = {str(n): add for n, add in enumerate(one.others)}
    add_s = {"proposed": one.add_s, "right": 0.0, **offered}.get(how)
    if add_s is None:
        messages.error(request, "Say which: the proposal, one of the pictures, or that the clock was right.")
        return redirect("cards:card_import", name=name)
    reason = clock_faults.RIGHT if how == "right" else clock_faults.reason(one)
    try:
        made, told = clock_checks.put_right(
            row.deployment, one, add_s=add_s, reason=reason, by=person(request), now=timezone.now(), plain=how == "right"
        )
    except TrodError as trouble:
        messages.error(request, str(trouble))
        return redirect("cards:card_import", name=name)
    request.session["undo"] = {"what": "Undo", "at": reverse("cameras:clock_undo", args=[made.pk])}
    said = (
        "Kept: the clock was right there." if how == "right" else "The clock is corrected. Times and sequences follow."
    )
    messages.success(request, said, extra_tags="undo")
    for sentence in told:
        messages.info(request, sentence)
    return redirect("cards:card_import", name=name)
