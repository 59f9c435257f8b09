"""The placement planner: boxes in, an answer out; ways kept beside each other; one of them chosen for a set-up sheet.

Working out never writes. `answer` gives the parts of the page that follow from the boxes, `closer` the same
chances refined, with what takes longer to draw.
"""

from __future__ import annotations

import json
import uuid as uuids
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod.catalogue.answers import prefill
from trod.catalogue.models import Deployment, Placement, Site
from trod.catalogue.rows import usual
from trod.errors import Stopped, WrongInput
from trod.planning.catch import animals
from trod.planning.place.advice import PASSED, STAYED
from trod.web import seen
from trod.web.access import person
from trod.web.forms.common import offer_undo, units_for
from trod.web.planner import curve, pages
from trod.web.planner.forms import PlannerForm, out_of_place
from trod.web.planner.shared import site_of
from trod.web.shared import placements
from trod.web.shared import placing as answers
from trod.web.shared import walk_evidence as evidence

WAY = ("name", "camera_model", "animal", "inputs", "chosen")


def _year() -> int:
    return timezone.now().year


def _told(request: HttpRequest) -> dict[str, str]:
    """What stands in the boxes, from the form or the address."""
    source = request.POST if request.method == "POST" else request.GET
    return {name: str(value)[:10_000] for name, value in source.items()}


def _form(request: HttpRequest, site: Site) -> tuple[PlannerForm, Placement | None]:
    """The boxes as told; else as a kept placement says; else as the site is known."""
    told = _told(request)
    units, models = units_for(request, site.reserve), pages.models()
    if told.get("units") in ("metric", "us"):
        return PlannerForm(told, units=told["units"], models=models), None
    row = _way(site, told.get("placement", ""))
    if row is not None:
        model = row.camera_model.slug if row.camera_model else ""
        inputs = row.inputs if isinstance(row.inputs, dict) else {}
        return (
            PlannerForm.of_inputs(inputs, animal=row.animal, camera_model=model, units=units, models=models),
            row,
        )
    known = set(dict(models))
    model = told["camera_model"] if told.get("camera_model") in known else usual.model(site)
    animal = told["animal"] if told.get("animal") in animals.BY_KEY else usual.animal(site)
    inputs = usual.inputs(site) | prefill.inputs(site, timezone.now()) | pages.inputs_of(site)
    return PlannerForm.of_inputs(inputs, animal=animal, camera_model=model, units=units, models=models), None


def _way(site: Site, uuid: str) -> Placement | None:
    """The placement of this site that an address or a form names; None for none, or for no identifier."""
    try:
        asked = uuids.UUID(uuid)
    except ValueError:
        return None
    return site.placements.select_related("camera_model").filter(uuid=asked).first()


def _asked(form: PlannerForm, site: Site) -> answers.Asked | None:
    """The question that the boxes ask; None when one of them cannot be read, and then the form says why."""
    inputs = form.inputs()
    if form.errors:
        return None
    try:
        spec, _ = pages.spec_for(form.model_slug)
        question = answers.asked(
            spec, form.animal_key, inputs, placements.place_of(site), system=form.units, year=_year()
        )
        answers.work(question)
    except WrongInput as trouble:
        form.refused(trouble)
        return None
    return question


def _context(request: HttpRequest, site: Site, form: PlannerForm) -> dict[str, Any]:
    """The answer for the boxes, or what is wrong with them."""
    question = _asked(form, site)
    context: dict[str, Any] = {"site": site, "form": form, "units": form.units}
    if question is None:
        return context | {"problems": form.problems()}
    found = pages.answer(answers.work(question))
    herd = found["herd"]
    return context | found | {
        "question": question,
        "advised_text": form.advise(found["advised"]),
        "herd_svg": curve.herd_svg(herd, system=question.system) if herd else "",
    }  # fmt: skip


@require_http_methods(["GET", "POST"])
def planner(request: HttpRequest, slug: str) -> HttpResponse:
    """The placement planner of a site.

    Sent as a form (without script) it comes back under an address that keeps what was told.
    """
    site = site_of(slug)
    form, row = _form(request, site)
    if request.method == "POST":
        closely = {"closely": "1"} if request.POST.get("closely") else {}
        return redirect(f"{reverse('planner:planner', args=[slug])}?{urlencode(form.query() | closely)}")
    context = _context(request, site, form)
    kept = pages.kept_of(site, system=form.units, year=_year())
    context |= {
        "row": row or _opened(request, site),
        "kept": kept,
        "boxes": form.groups(),
        "open_groups": form.open_groups(),
        "months": form.months(),
        "hidden": out_of_place(form.data.get("feature") or "trail"),
        "out_of_place": json.dumps({feature: out_of_place(feature) for feature in (*PASSED, *STAYED)}),
        "shown_rows": [site, *(k.row for k in kept)],
        "full": len(kept) >= pages.MOST_KEPT,
        "standing": _standing(site),
    }
    if "question" in context and request.GET.get("closely"):
        context |= _closer(site, form, context["question"]) | {"closely": True}
    return render(request, "trod/planner/planner.html", context, status=200 if "setup" in context else 422)


def _opened(request: HttpRequest, site: Site) -> Placement | None:
    """The kept placement that was opened and is being changed."""
    return _way(site, request.GET.get("over", ""))


def _turn(request: HttpRequest) -> tuple[str, int]:
    """Which placement planner asks (a word of the page's own), and its question's number."""
    number = request.POST.get("turn", "0")
    known = number.isascii() and number.isdigit() and len(number) < 16
    return request.POST.get("planner", "")[:40], int(number) if known else 0


@require_POST
def answer(request: HttpRequest, slug: str) -> HttpResponse:
    """The parts of the page that follow from the boxes. Nothing is saved."""
    site = site_of(slug)
    form, _ = _form(request, site)
    planner_key, turn = _turn(request)
    answers.TURNS.take(planner_key, turn)
    context = _context(request, site, form)
    return render(request, "trod/planner/answer.html", context, status=200 if "setup" in context else 422)


@require_POST
def closer(request: HttpRequest, slug: str) -> HttpResponse:
    """The chances refined, the angle by the simulation, the sun's year, other animals; given up when out of date."""
    site = site_of(slug)
    form, _ = _form(request, site)
    planner_key, turn = _turn(request)

    def stop() -> bool:
        return answers.TURNS.is_old(planner_key, turn)

    question = _asked(form, site)
    if question is None:
        return HttpResponse(status=204)
    try:
        context = _closer(site, form, question, stop=stop)
    except Stopped:
        return HttpResponse(status=204)
    return render(request, "trod/planner/closer.html", context)


def _closer(
    site: Site, form: PlannerForm, question: answers.Asked, *, stop: Callable[[], bool] = lambda: False
) -> dict[str, Any]:
    """What takes a second: refined chances, the angle, the sun's year, other animals, what the field says.

    Raises Stopped when `stop` says so.
    """
    done = answers.work(question)
    day, night = answers.closer(question, stop=stop)
    others = answers.paces(question, usual.reserve_animals(), stop=stop)
    _, model = pages.spec_for(form.model_slug)
    return {
        "site": site,
        "form": form,
        "setup": done,
        "chances": pages.chances(day, night),
        "refined": True,
        "angles": pages.angles(answers.angles(question), done),
        "sun": answers.sun(question),
        "paces": pages.paces(others, question),
        "says": evidence.says(done.spec, evidence.tests_of(model), system=done.system) if model else None,
        "standing": _standing(site),
    }


def _standing(site: Site) -> Deployment | None:
    return site.deployments.filter(end__isnull=True).select_related("camera").first()


# --- keeping ----------------------------------------------------------------------------------------


@require_POST
def keep(request: HttpRequest, slug: str) -> HttpResponse:
    """Keep what is entered as one of three ways, or over one that is kept."""
    site = site_of(slug)
    form, _ = _form(request, site)
    question = _asked(form, site)
    back = f"{reverse('planner:planner', args=[slug])}?{urlencode(form.query())}"
    if question is None:
        messages.error(request, "Not kept: " + " ".join(form.problems()))
        return redirect(back)
    name = " ".join(request.POST.get("name", "").split())[: pages.NAME_LONG]
    over = None
    if "beside" in request.POST:  # beside what is kept, whatever is open or chosen in the list
        name = pages.free_name(site, name)
    else:
        over = _way(site, request.POST.get("over", ""))
    if over is None and pages.free_turn(site) is None:
        messages.error(request, "Three ways are kept here already. Keep this one over one of them, or delete one first.")
        return redirect(f"{back}#keep")
    _, model = pages.spec_for(form.model_slug)
    if over is not None:
        seen.check(request, over, only=WAY, mine=f"{name or over.name} in its place")
        offer_undo(request, f"Put {over.name or 'it'} back as it was", back, before=[over])
    row = over or Placement(site=site)
    row.name = name or row.name
    row.camera_model, row.animal = model, form.animal_key
    row.inputs = json.loads(question.inputs)
    row.by, row.at = person(request), timezone.now()
    if not pages.save_way(row):
        messages.error(request, "Somebody kept another way here just now. Look at the three, then keep this one.")
        return redirect(f"{back}#keep")
    messages.success(request, f"“{row.name}” is kept.", extra_tags="undo" if over else "")
    if "choose" in request.POST:
        return _choose(request, row)
    return redirect(f"{back}&{urlencode({'over': row.uuid})}#keep")


@require_POST
def place(request: HttpRequest, slug: str) -> HttpResponse:
    """Write what was told of the place to the site."""
    site = site_of(slug)
    form, _ = _form(request, site)
    question = _asked(form, site)
    back = f"{reverse('planner:planner', args=[slug])}?{urlencode(form.query())}"
    if question is None:
        messages.error(request, "Not written down: " + " ".join(form.problems()))
        return redirect(back)
    seen.check(request, site, only=pages.PLACE_COLUMNS, mine="the place as it is entered")
    offer_undo(request, "Put the site back as it was", back, before=[Site.objects.get(pk=site.pk)])
    pages.tell_place(site, form.inputs())
    site.save()
    messages.success(request, f"What was told of the place now stands with {site}.", extra_tags="undo")
    return redirect(back)


@require_GET
def beside(request: HttpRequest, slug: str) -> HttpResponse:
    """The kept ways side by side: what comes of each, and in what they differ."""
    site = site_of(slug)
    units = units_for(request, site.reserve)
    kept = pages.kept_of(site, system=units, year=_year())
    able = [k for k in kept if k.setup is not None]
    context = {
        "site": site,
        "kept": kept,
        "able": able,
        "rows": pages.differences(kept, units=units) if len(able) > 1 else [],
    }
    return render(request, "trod/planner/beside.html", context)


def _placement(slug: str, uuid: Any) -> Placement:
    return get_object_or_404(
        Placement.objects.select_related("site__reserve", "camera_model"), uuid=uuid, site__slug=slug
    )


@require_GET
def kept(request: HttpRequest, slug: str, uuid: Any) -> HttpResponse:
    """A kept way, opened on the placement planner to be changed."""
    row = _placement(slug, uuid)
    return redirect(f"{reverse('planner:planner', args=[slug])}?placement={row.uuid}")


@require_POST
def rename(request: HttpRequest, slug: str, uuid: Any) -> HttpResponse:
    """Give a kept way another name."""
    row = _placement(slug, uuid)
    name = " ".join(request.POST.get("name", "").split())[: pages.NAME_LONG]
    if name:
        seen.check(request, row, only=("name",), mine=f"the name “{name}”")
        row.name = name
        row.save(update_fields=["name"])
        messages.success(request, f"It is called “{name}” now.")
    else:
        messages.error(request, "It needs a name: a few words such as “low, from the ash”.")
    return redirect("planner:beside", slug)


@require_POST
def choose(request: HttpRequest, slug: str, uuid: Any) -> HttpResponse:
    """Choose a kept way; on to its set-up sheet."""
    return _choose(request, _placement(slug, uuid))


def _choose(request: HttpRequest, row: Placement) -> HttpResponse:
    with transaction.atomic():
        Site.objects.select_for_update().get(pk=row.site_id)  # one choice at a time
        for one in row.site.placements.all():
            seen.check(request, one, only=("chosen",), mine=f"“{row}” chosen")
        for other in row.site.placements.filter(chosen=True).exclude(pk=row.pk):
            other.chosen = False
            other.save(update_fields=["chosen"])
        row.chosen = True
        row.save(update_fields=["chosen"])
    return redirect("setup_sheet:setup_sheet", row.uuid)


@require_POST
def delete(request: HttpRequest, slug: str, uuid: Any) -> HttpResponse:
    """Delete a kept way; it can be put back."""
    row = _placement(slug, uuid)
    seen.check(request, row, only=WAY, mine=f"“{row}” deleted")
    after = reverse("planner:beside", args=[slug])
    name = row.name or f"Way {row.turn}"
    hung = row.deployments.count()
    offer_undo(request, f"Put “{name}” back", after, before=[row])
    row.delete()
    more = " Deployments made of it stay, without it." if hung else ""
    messages.success(request, f"“{name}” is deleted.{more}", extra_tags="undo")
    return redirect(after)
