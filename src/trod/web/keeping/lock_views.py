"""Pages: locks and who may see their numbers."""

from __future__ import annotations

import uuid as uuids

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod.web.forms_common import delete_page, form_page, whole
from trod.web.keeping import locks
from trod.web.keeping.common import HERE, who
from trod.web.keeping.forms import LockForm
from trod.web.models import Camera, Lock, Site
from trod.web.people import rights

form_methods = require_http_methods(["GET", "POST"])


def _no_right(request: HttpRequest) -> HttpResponse:
    context = {
        "title": "Numbers of locks are for few",
        "words": "You may see which locks there are, not their numbers, and not change them. Somebody who may can give "
        "you the right on this page; else open Trod on the machine itself (trod serve without --host).",
        **HERE,
    }
    return render(request, "trod/keeping/no_right.html", context, status=403)


def _private(answer: HttpResponse) -> HttpResponse:
    answer["Cache-Control"] = "no-store"
    return answer


@require_GET
def locks_page(request: HttpRequest) -> HttpResponse:
    """Locks and where they hang. No number is in the page."""
    may = locks.may_see(request)
    rows = Lock.objects.select_related("camera", "site").defer("key_number", "combination")
    has = set(Lock.objects.exclude(key_number="", combination="").values_list("pk", flat=True))
    context = {
        "locks": [{"lock": row, "has": row.pk in has} for row in rows],
        "may": may,
        "holders": locks.holders() if may else [],
        **HERE,
    }
    return _private(render(request, "trod/keeping/locks.html", context))


@require_POST
def show(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """One lock's numbers, asked for by pressing."""
    if not locks.may_see(request):
        return _no_right(request)
    row = get_object_or_404(Lock.objects.select_related("camera", "site"), uuid=uuid)
    page = "trod/keeping/lock_numbers.html" if request.headers.get("HX-Request") else "trod/keeping/lock.html"
    return _private(render(request, page, {"lock": row, **HERE}))


@form_methods
def edit(request: HttpRequest, uuid: uuids.UUID | None = None) -> HttpResponse:
    """A new lock, or changes to one."""
    if not locks.may_see(request):
        return _no_right(request)
    row = get_object_or_404(Lock, uuid=uuid) if uuid else None
    initial = {}
    if not row:
        initial = {
            "camera": Camera.objects.filter(pk=whole(request.GET.get("camera", ""))).first(),
            "site": Site.objects.filter(slug=request.GET.get("site", "")).first(),
        }
    form = LockForm(request.POST or None, instance=row, initial=initial, **who(request))
    return _private(
        form_page(
            request,
            form,
            title=f"Lock {row}" if row else "New lock",
            kept="The lock {row} is kept.",
            back=reverse("keeping:locks"),
            delete_url=reverse("keeping:lock_delete", args=[row.uuid]) if row else "",
            **HERE,
        )
    )


@form_methods
def delete(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """Delete a lock; it can be put back."""
    if not locks.may_see(request):
        return _no_right(request)
    row = get_object_or_404(Lock, uuid=uuid)
    return delete_page(
        request,
        row,
        name=f"the lock {row}",
        back=reverse("keeping:lock_edit", args=[uuid]),
        after=reverse("keeping:locks"),
    )


@require_POST
def give(request: HttpRequest) -> HttpResponse:
    """Say which accounts may see numbers."""
    if not locks.may_see(request):
        return _no_right(request)
    chosen = {n for said in request.POST.getlist("who") if (n := whole(said)) is not None}
    try:
        rights.give_by(request, locks.RIGHT, chosen)
    except rights.LastHolder as trouble:
        messages.error(request, str(trouble))
    else:
        messages.success(request, "It is kept who may see numbers of locks.")
    return redirect("keeping:locks")
