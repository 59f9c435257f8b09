"""Pages: locks and who may see their numbers."""

from __future__ import annotations

import math
import uuid as uuids
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import wording
from trod.catalogue.models import Lock, Reserve, Site
from trod.errors import WrongInput
from trod.web.access import person
from trod.web.addresses import whole
from trod.web.forms.cameras import camera_asked
from trod.web.forms.common import RecordForm
from trod.web.forms.records import RecordPages
from trod.web.maintenance import locks
from trod.web.maintenance.forms import LockForm, PhraseForm
from trod.web.pages import HtmxRequest
from trod.web.shared import rights, seal, tries

form_methods = require_http_methods(["GET", "POST"])


def _no_right(request: HttpRequest) -> HttpResponse:
    context = {
        "title": "Numbers of locks are for few",
        "words": "You may see which locks there are, not their numbers, and not change them. Somebody who may can give "
        "you the right on this page; else open Trod on the machine itself (trod serve without --host).",
    }
    return render(request, "trod/maintenance/no_right.html", context, status=403)


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
        "sealed": may and seal.current() is not None,
        "opened": may and seal.key_of(request) is not None,
        "holders": locks.holders() if may else [],
    }
    return _private(render(request, "trod/maintenance/locks.html", context))


@require_POST
def show(request: HtmxRequest, uuid: uuids.UUID) -> HttpResponse:
    """One lock's numbers, asked for by pressing."""
    if not locks.may_see(request):
        return _no_right(request)
    row = get_object_or_404(Lock.objects.select_related("camera", "site"), uuid=uuid)
    page = "trod/maintenance/lock_numbers.html" if request.headers.get("HX-Request") else "trod/maintenance/lock.html"
    context: dict[str, Any] = {"lock": row}
    if "phrase" in request.POST:
        context["wrong"] = _opened(request)
    try:
        context["numbers"] = seal.shown(row, seal.key_of(request))
    except seal.Shut:
        context["ask"] = True
    return _private(render(request, page, context, status=422 if context.get("wrong") and not request.htmx else 200))


def _tried(request: HttpRequest, do: Callable[[], Any]) -> tuple[Any, str]:
    """What comes of a pass phrase, or why it is not taken. From afar tries are counted as passwords are."""
    counted = () if rights.at_the_machine(request) else tries.counters(request, "the pass phrase of the locks")
    if counted and (wait_s := tries.book(counted)):
        minutes = math.ceil(wait_s / 60)
        return None, f"Too many wrong pass phrases from where you are. Wait {minutes} minutes, then try again."
    try:
        made = do()
    except seal.WrongPhrase as trouble:
        return None, str(trouble)
    if counted:
        tries.give_back(counted)
    return made, ""


def _opened(request: HttpRequest) -> str:
    """Try the phrase that came; why it does not open, or nothing."""
    said = request.POST.get("phrase", "")[: seal.MOST_CHARACTERS]
    return _tried(request, lambda: seal.open_with(request, said))[1]


@require_POST
def cover(request: HttpRequest) -> HttpResponse:
    """Forget the pass phrase of this session."""
    seal.cover(request)
    messages.success(request, "The numbers are covered; the pass phrase is asked for again.")
    return redirect("maintenance:locks")


@form_methods
def phrase(request: HttpRequest) -> HttpResponse:
    """Set, change or take off the pass phrase, or give up the numbers when it is lost."""
    if not locks.may_see(request):
        return _no_right(request)
    sealed = seal.current() is not None
    if request.method == "POST" and request.POST.get("do") == "lost":
        if request.POST.get("sure") == "yes":
            number = seal.throw_away()
            thrown = wording.plural(number, "sealed number is", "sealed numbers are")
            messages.success(request, f"{thrown} thrown away. Put them in anew.")
            return redirect("maintenance:locks")
        messages.error(request, "Nothing is thrown away: tick that you are sure.")
        return redirect("maintenance:locks_phrase")
    form = PhraseForm(request.POST or None, sealed=sealed)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        old, new = said.get("old", "")[: seal.MOST_CHARACTERS], said["new"]
        changed: int | None = None
        wrong = ""
        try:
            changed, wrong = _tried(request, lambda: seal.change(request, old=old, new=new, by=person(request)))
        except WrongInput as trouble:
            form.add_error("new", f"got {trouble.got}; needed: {trouble.needed}")
        if wrong:
            form.add_error("old" if sealed else None, wrong)
        if changed is not None:
            done = "sealed" if said["new"] else "laid open"
            messages.success(request, f"{wording.plural(changed, 'number is', 'numbers are')} {done}.")
            return redirect("maintenance:locks")
    context = {"form": form, "sealed": sealed}
    return _private(render(request, "trod/maintenance/phrase.html", context, status=422 if form.is_bound else 200))


class LockPages(RecordPages[Lock]):
    """Locks, for those alone who may see their numbers."""

    model, form = Lock, LockForm
    address, among = "maintenance:lock", "maintenance:locks"
    new, change, kept, called = "New lock", "Lock {row}", "The lock {row} is kept.", "the lock {row}"

    def refused(self, request: HttpRequest) -> HttpResponse | None:
        return None if locks.may_see(request) else _no_right(request)

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        site = Site.objects.filter(slug=request.GET.get("site", "")).first()
        return {"camera": camera_asked(request), "site": site}

    def arguments(self, request: HttpRequest, row: Lock | None, reserve: Reserve | None) -> dict[str, Any]:
        key = seal.key_of(request)
        shut = key is None and seal.current() is not None
        return super().arguments(request, row, reserve) | {"key": key, "shut": shut}

    def more(self, request: HttpRequest, row: Lock | None, form: RecordForm) -> dict[str, Any]:
        shut = "new_combination" not in form.fields
        words = "The numbers are sealed. Show one under Locks and keys and say the pass phrase to change them."
        return {"lead": words if shut else ""}

    def edit(self, request: HttpRequest, **keys: Any) -> HttpResponse:
        return _private(super().edit(request, **keys))


pages = LockPages()


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
    return redirect("maintenance:locks")
