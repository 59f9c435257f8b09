"""Camera models: the list, one model, its form, lists in and out, and which is best for a use."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from trod.catalogue import texts
from trod.catalogue.models import CameraModel
from trod.catalogue.rows.specs import spec_of
from trod.errors import WrongInput
from trod.planning.catch.ranking import TIED, USES
from trod.planning.equipment.camera import COLUMNS
from trod.telling import measures, ranking
from trod.units import system_of
from trod.web.cameras import models_compare, models_csv, models_pages, models_picture, models_resolve
from trod.web.cameras.models_form import CameraModelForm
from trod.web.forms import lists
from trod.web.forms.common import offer_undo, units_for
from trod.web.forms.records import RecordPages, the_reserve

form_methods = require_http_methods(["GET", "POST"])
MOST_COMPARED = 40


def _system(request: HttpRequest) -> Any:
    return units_for(request, the_reserve())


@require_GET
def models(request: HttpRequest) -> HttpResponse:
    """Kinds of cameras, by what is known of them."""
    rows = list(CameraModel.objects.annotate(n=Count("cameras")))
    lines = models_pages.list_lines(rows, _system(request))
    return render(request, "trod/cameras/models.html", {"lines": lines})


@require_GET
def model(request: HttpRequest, slug: str) -> HttpResponse:
    """One model: the maker's word beside what was measured."""
    row = get_object_or_404(CameraModel, slug=slug)
    spec, system = spec_of(row), _system(request)
    context = {
        "model": row,
        "summary": models_pages.summary(row, spec),
        "groups": models_pages.figure_lines(spec, system),
        "picture": models_picture.field_picture(
            spec, key="field", far_m=models_picture.farthest_m([spec], system=system), system=system
        ),
        "enlarged": spec.enlarged(),
        "cameras": row.cameras.all(),
        "resolves": models_resolve.kept_lines(row),
    }
    return render(request, "trod/cameras/model.html", context)


class ModelPages(RecordPages[CameraModel]):
    """Camera models."""

    model, form = CameraModel, CameraModelForm
    address, among, new = "cameras:model", "cameras:models", "New camera model"
    page = {
        "lead": "Leave empty what nobody knows; then a usual figure is assumed, and said to be.",
        "template": "trod/cameras/model_form.html",
    }


model_pages = ModelPages()


# Lists in and out -------------------------------------------------------------------------------------------


def _csv(text: str, name: str) -> HttpResponse:
    answer = HttpResponse("\ufeff" + text, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@require_GET
def models_table(request: HttpRequest) -> HttpResponse:
    """All models as CSV."""
    return _csv(models_csv.table(list(CameraModel.objects.all())), "trod-camera-models.csv")


@require_GET
def models_sample(request: HttpRequest) -> HttpResponse:
    return _csv(models_csv.sample(), "trod-camera-models-invented.csv")


@form_methods
def models_import(request: HttpRequest) -> HttpResponse:
    """A table comes; the page shows what it would change; nothing is kept until that is confirmed."""
    context: dict[str, Any] = {"columns": COLUMNS}
    page = "trod/cameras/models_import.html"
    if request.method == "GET":
        return render(request, page, context)
    keep = request.POST.get("keep") == "yes"
    try:
        file = request.FILES.get("file")
        text = texts.decode(file.read(lists.MOST_BYTES + 1)) if file is not None else request.POST.get("text", "")
        if not text.strip():
            raise WrongInput("file", got="nothing", needed="a table to bring, or its text")
        made = models_csv.plan(models_csv.read(text), keep=keep, system=_system(request))
    except WrongInput as trouble:
        return render(request, page, {**context, "trouble": str(trouble)}, status=422)
    if keep:
        offer_undo(request, "Undo it all", reverse("cameras:models"), before=made.before, made=made.made)
        messages.success(request, f"The camera models are kept: {made.sentence}.", extra_tags="undo")
        return redirect("cameras:models")
    return render(request, page, {**context, "plan": made, "text": text})


# Which for what ---------------------------------------------------------------------------------------------


def _asked(request: HttpRequest) -> dict[str, Any]:
    """What is to be compared, from the address; what is not known there is taken as usual."""
    wanted = request.GET.get("use", "")
    air = request.GET.get("air", "")
    chosen = set(request.GET.getlist("model")[:200])
    rows = list(CameraModel.objects.all())
    some = [row for row in rows if row.slug in chosen]
    return {
        "wanted": wanted if wanted in models_compare.WANTED else "trail",
        "air": air if air in models_compare.AIRS else "cool",
        "rows": (some or rows)[:MOST_COMPARED],
        "chosen": {row.slug for row in some},
        "all": rows,
    }


@require_GET
def compare(request: HttpRequest) -> HttpResponse:
    """Which camera for which use. The page shows how far the ranking is; it never waits for it."""
    asked = _asked(request)
    system = _system(request)
    context: dict[str, Any] = {
        **asked,
        "uses": [(key, label) for key, (_, label) in models_compare.WANTED.items()],
        "airs": [
            (key, f"{label}, {_degrees(celsius, system)}") for key, (label, celsius) in models_compare.AIRS.items()
        ],
        "left_out": len(asked["all"]) - MOST_COMPARED if not asked["chosen"] else 0,
        "query": request.GET.urlencode(),
    }
    if asked["rows"]:
        context |= _answer(asked, system)
    return render(request, "trod/cameras/compare.html", context)


@require_GET
def compare_answer(request: HttpRequest) -> HttpResponse:
    """The ranking, or how far it is: a piece of the page."""
    asked = _asked(request)
    context = {**asked, "query": request.GET.urlencode(), **_answer(asked, _system(request))}
    return render(request, "trod/cameras/compare_answer.html", context)


def _degrees(celsius: float, system: str) -> str:
    return measures.air(celsius, system_of(system)).replace("-", "−")


def _answer(asked: dict[str, Any], system: Any) -> dict[str, Any]:
    pairs = [(row, spec_of(row)) for row in asked["rows"]]
    use, air_c = models_compare.WANTED[asked["wanted"]][0], models_compare.AIRS[asked["air"]][1]
    _, work = models_compare.ranking(use, [spec for _, spec in pairs], air_c=air_c)
    if work.result is None:
        return {"work": work}
    far_m = models_picture.farthest_m([spec for _, spec in pairs], system=system)
    slugs = {id_of(spec): row for row, spec in pairs}
    lines = []
    for ranked in work.result:
        row, spec = slugs[id_of(ranked.spec)], ranked.spec
        groups = models_pages.figure_lines(spec, system)
        lines.append(
            {
                "model": row,
                "ranked": ranked,
                "reasons": ranking.reasons(ranked, system_of(system)),
                "cautions": ranking.cautions(ranked),
                "caught": models_compare.hundredths(ranked.caught),
                "error": "under 0.1" if ranked.standard_error < 0.0005 else f"{100 * ranked.standard_error:.1f}",
                "day": models_compare.hundredths(ranked.day),
                "night": models_compare.hundredths(ranked.night),
                "empty": None if ranked.empty is None else models_compare.hundredths(ranked.empty),
                "bar": models_picture.caught_bar(
                    ranked.caught, ranked.standard_error, TIED, ranked.day, ranked.night, key=row.slug, name=spec.name
                ),
                "picture": models_picture.field_picture(spec, key=f"f-{row.slug}", far_m=far_m, system=system),
                "figures": [line for legend, of in groups if legend != "Energy" for line in of],
            }
        )
    told = models_compare.context(asked["wanted"], asked["air"], work.result)
    return {"work": work, "lines": lines, "note": USES[use].note, **told}


def id_of(spec: Any) -> tuple[str, str]:
    """What a camera model is known by."""
    return spec.maker, spec.model
