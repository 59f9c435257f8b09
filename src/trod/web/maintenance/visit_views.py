"""Pages: record a visit, change one, delete one."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from trod import clock, wording
from trod.catalogue.models import Card, Deployment, Site, Visit
from trod.catalogue.rounds import visiting
from trod.units import Scale, scale
from trod.web.access import person
from trod.web.forms import walks
from trod.web.forms.common import back_to, box, offer_undo, status_of, tell_merged, unit_of
from trod.web.forms.records import RecordPages, the_reserve, typist
from trod.web.maintenance.forms import battery_kinds
from trod.web.maintenance.visit_form import VisitForm

form_methods = require_http_methods(["GET", "POST"])
WALK_LINES = 4


def _home(visit: Visit) -> str:
    return visit.deployment.get_absolute_url() if visit.deployment else visit.site.get_absolute_url()


@form_methods
def visit_edit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Record a visit, or change one."""
    row = get_object_or_404(Visit.objects.select_related("deployment", "site"), pk=pk) if pk else None
    told = typist(request, the_reserve())
    initial, back = ({}, _home(row)) if row else _start(request)
    lines, problems = walks.lines_of(None, told["units"])[:WALK_LINES], []
    found: list[dict[str, Any]] = []
    if request.method == "POST" and row is None:
        read, found = walks.read(request.POST, told["units"])
        lines = read or lines
        problems = [f"Mend walk {line.n}: {line.error}." for line in lines if line.error]
    form = VisitForm(request.POST or None, instance=row, initial=initial, walks=found, **told)
    if request.method == "POST" and form.is_valid() and not problems and isinstance(kept := form.keep(), Visit):
        return _kept(request, form, kept, new=row is None, back=back)
    now = standing(form, told["units"]) if row is None else {}
    form.now |= now.get(str(form["deployment"].value())) or {}  # stands beside the boxes also without script
    context = {
        "form": form,
        "row": row,
        "title": "Change the visit" if row else "Record a visit",
        "back": back_to(request, back),
        "next": request.POST.get("next") or request.GET.get("next") or "",
        "standing": now,
        "labels": Card.objects.exclude(state__in=[Card.State.BAD, Card.State.LOST]).values_list("label", flat=True),
        "battery_kinds": battery_kinds(),
        "why_anew": visiting.WHY_ANEW,
        "changed": _changed_words(row, told["units"]) if row else [],
        "walks": [] if row else lines,
        "walking": bool(found or problems),
        "problems": problems,
        "length_sign": scale("m", told["units"]).sign,
    }
    return render(request, "trod/maintenance/visit.html", context, status=status_of(form))


def _start(request: HttpRequest) -> tuple[dict[str, Any], str]:
    d = Deployment.objects.filter(slug=request.GET.get("deployment", "")).first()
    site = Site.objects.filter(slug=request.GET.get("site", "")).first()
    back = d.get_absolute_url() if d else site.get_absolute_url() if site else reverse("today:today")
    initial = {
        "at": timezone.now().replace(second=0, microsecond=0),
        "by": person(request),
        "arrival": Visit.Arrival.WORKING,
        "deployment": d.pk if d else None,
        "site": site,
    }
    return initial, back


def _kept(request: HttpRequest, form: VisitForm, kept: Visit, *, new: bool, back: str) -> HttpResponse:
    done = form.done
    assert done is not None
    after = done.deployment.get_absolute_url() if done.deployment else kept.site.get_absolute_url()
    words = " ".join(["The visit is kept.", *done.told])
    if new:
        offer_undo(request, "Take the visit back", back, made=done.made, before=done.before)
        messages.success(request, words, extra_tags="undo")
    else:
        messages.success(request, words)
    tell_merged(request, form)
    for warning in done.warned:
        messages.warning(request, warning)
    if form.cleaned_data.get("incident"):
        query = {"kind": "theft"} if kept.arrival == Visit.Arrival.GONE else {}
        query |= {"deployment": kept.deployment.slug} if kept.deployment else {"site": kept.site.slug}
        return redirect(f"{reverse('maintenance:incident_new')}?{urlencode(query)}")
    return redirect(back_to(request, after))


def standing(form: VisitForm, units: str) -> dict[str, dict[str, str]]:
    """{deployment's number: {field: how it is now, in words}} for the hints beside the boxes."""
    out = {}
    for d in box(form, "deployment", forms.ModelChoiceField).queryset or ():
        now = {name: _now_words(name, getattr(d, name), units) for name in visiting.SETTINGS if name != "sensitivity"}
        now["sensitivity"] = f"now {d.get_sensitivity_display()}"
        now["card_out"] = f"in it now: {d.card}" if d.card else "no card is noted in it"
        now["battery_kind"] = f"now {d.batteries}" if d.batteries else "as IEC 60086 names them, such as LR6"
        out[str(d.pk)] = now
    return out


def _now_words(name: str, value: Any, units: str) -> str:
    if value is None:
        return "not noted yet"
    unit = unit_of(name, units)
    return f"now {unit.from_stored(value):.3g} {unit.sign}" if unit else f"now {value:g}"


def _changed_words(row: Visit, units: str) -> list[str]:
    """What this visit set otherwise, a line each."""
    out = []
    for name, pair in (row.changed or {}).items() if isinstance(row.changed, dict) else ():
        if name in visiting.SETTINGS and isinstance(pair, list) and len(pair) == 2:
            label = str(VisitForm.base_fields[name].label)
            unit = unit_of(name, units) or Scale("")
            before, after = (
                "not noted" if v is None else f"{unit.from_stored(v):.4g}" if isinstance(v, int | float) else v
                for v in pair
            )
            out.append(f"{label}: {before} → {after}{f' {unit.sign}' if unit.sign else ''}")
    return out


class VisitPages(RecordPages[Visit]):
    """Visits, as they are deleted; `visit_edit` has a page of its own."""

    model, related = Visit, ("site__reserve", "deployment")
    address = "cameras:visit"
    instead = "Take what was booked for it back on the stock first."

    def name_of(self, row: Visit) -> str:
        return f"the visit of {wording.day(clock.local(row.at, row.site.reserve.zone))} to {row.site}"

    def after_delete(self, row: Visit) -> str:
        return _home(row)


pages = VisitPages()
