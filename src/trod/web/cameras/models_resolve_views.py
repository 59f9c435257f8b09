"""What a camera really resolves: print the target, bring pictures, see what they tell, keep it if you wish."""

from __future__ import annotations

from copy import copy
from functools import lru_cache
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import __version__, clock
from trod.catalogue.models import CameraModel, Reserve
from trod.catalogue.rows.specs import spec_of
from trod.telling import measures
from trod.web import seen
from trod.web.access import person
from trod.web.cameras import models_picture, models_resolve
from trod.web.cameras.models_resolve import BesideForm, Found, OrdinaryForm, TargetForm
from trod.web.forms.common import offer_undo, units_for
from trod.web.pages import HtmxRequest


def _system(request: HttpRequest) -> str:
    return units_for(request, Reserve.objects.order_by("id").first())


@lru_cache(maxsize=4)
def _pdf(paper: str) -> bytes:
    from trod.report.target import target_pdf

    return target_pdf(paper=paper, made=__version__)


@require_GET
def target(request: HttpRequest, paper: str) -> HttpResponse:
    """The printed target as PDF."""
    if paper not in dict(models_resolve.PAPERS):
        raise Http404
    answer = HttpResponse(_pdf(paper), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="trod-target-{paper}.pdf"'
    return answer


@require_http_methods(["GET", "POST"])
def resolves(request: HttpRequest, slug: str) -> HttpResponse:
    """The three ways to find out, each with its form."""
    row = get_object_or_404(CameraModel, slug=slug)
    what = request.POST.get("what", "") if request.method == "POST" else ""
    forms = _forms(request, row, what)
    trouble = ""
    if what == "own":
        paths = models_resolve.own_pictures(row)
        if paths:
            return _begun(request, row, forms, models_resolve.begin_own(slug, paths))
        trouble = (
            "Among the newest day pictures of this model in the archive are no five of one size; bring some instead."
        )
    elif what in forms and forms[what].is_valid():
        try:
            token = _begin(what, row, forms[what].cleaned_data)
        except OSError as error:
            trouble = f"The pictures could not be laid down ({error.strerror or error}); see whether the disk is full."
        else:
            return _begun(request, row, forms, token)
    return _page(request, row, forms, trouble, status=422 if request.method == "POST" else 200)


def _forms(request: HttpRequest, row: CameraModel, what: str) -> dict[str, Any]:
    spec = spec_of(row)
    begun = {"own_fov_deg": f"{spec.value('fov_deg'):g}"}

    def given(name: str) -> tuple[Any, Any]:
        return (request.POST, request.FILES) if what == name else (None, None)

    return {
        "target": TargetForm(*given("target"), system=_system(request), prefix="t"),
        "ordinary": OrdinaryForm(*given("ordinary"), prefix="o"),
        "beside": BesideForm(*given("beside"), initial=begun, prefix="b"),
    }


def _begin(what: str, row: CameraModel, said: dict[str, Any]) -> str:
    if what == "target":
        return models_resolve.begin_target(
            row.slug, said["pictures"], distance_m=said["distance"], paper=said["paper"], ruler_mm=said["ruler_mm"]
        )
    if what == "ordinary":
        return models_resolve.begin_ordinary(row.slug, said["pictures"])
    return models_resolve.begin_beside(
        row.slug,
        (said["own"][0], said["other"][0]),
        (str(row), said["other_name"]),
        (said["own_fov_deg"], said["other_fov_deg"]),
        said["angle_deg"],
    )


def _begun(request: HttpRequest, row: CameraModel, forms: dict[str, Any], token: str) -> HttpResponse:
    if models_resolve.works.get(token) is None:  # put off: too many wait
        from trod.web.beside import BUSY

        return _page(request, row, forms, BUSY, status=503)
    return redirect("cameras:resolves_work", slug=row.slug, token=token)


def _page(request: HttpRequest, row: CameraModel, forms: dict[str, Any], trouble: str, *, status: int) -> HttpResponse:
    context = {
        "model": row,
        "forms": forms,
        "trouble": trouble,
        "papers": models_resolve.PAPERS,
        "kept": models_resolve.kept_lines(row),
        "own": bool(models_resolve.own_pictures(row)),
    }
    return render(request, "trod/cameras/resolves.html", context, status=status)


@require_GET
def resolves_work(request: HtmxRequest, slug: str, token: str) -> HttpResponse:
    """How far a measurement is, or what came of it."""
    row = get_object_or_404(CameraModel, slug=slug)
    work = models_resolve.works.get(token)
    if work is None or (isinstance(work.result, Found) and work.result.slug != slug):
        return render(request, "trod/cameras/resolves_gone.html", {"model": row}, status=404)
    context: dict[str, Any] = {"model": row, "work": work, "token": token}
    if isinstance(work.result, Found):
        context |= _told(work.result, _system(request))
    piece = "trod/cameras/resolves_answer.html"
    return render(request, piece if request.htmx else "trod/cameras/resolves_work.html", context)


def _told(found: Found, system: str) -> dict[str, Any]:
    if found.kind == "ordinary":
        return {"kind": "ordinary", "verdict": found.value}
    if found.kind == "beside":
        made, shown = found.value
        pieces = [{"piece": piece, "src": src} for piece, src in zip(made.pieces, shown, strict=True)]
        return {"kind": "beside", "pieces": pieces, "angle": f"{made.angle_deg[0]:.1f}"}
    value = found.value
    return {
        "kind": "target",
        "found": value,
        "smallest": [
            (
                f"{one.distance_m:g} m" if system == "metric" else measures.length(one.distance_m, "us"),
                _small(one.line_pair_mm, system),
                _small(one.tine_mm, system),
                _small(one.hoofprint_mm, system),
            )
            for one in value.smallest
        ],
        "chart": models_picture.response_chart(value),
        "offers": models_resolve.offers(value),
        "per_pixel": f"{value.mtf50_cpp:.2g}",
        "per_deg": f"{value.mtf50_cycles_per_deg:.3g}",
        "per_m": f"{value.mtf50_cycles_per_m:.3g}",
    }


def _small(length_mm: float, system: str) -> str:
    """A small thing's size, two figures."""
    return f"{length_mm:.2g} mm" if system == "metric" else f"{length_mm / 25.4:.2g} in"


@require_POST
def resolves_keep(request: HttpRequest, slug: str, token: str) -> HttpResponse:
    """Keep what was measured with the model."""
    row = get_object_or_404(CameraModel, slug=slug)
    work = models_resolve.works.get(token)
    if work is None or not isinstance(work.result, Found) or work.result.slug != slug or work.result.kind != "target":
        messages.error(request, "That measurement is no longer held, so nothing was kept. Bring the pictures again.")
        return redirect("cameras:resolves", slug=slug)
    seen.check(request, row, only=("measured",), mine="what was measured just now")
    before = copy(row)
    reserve = Reserve.objects.order_by("id").first()
    today = clock.local(timezone.now(), reserve.zone if reserve else "UTC").date()
    models_resolve.keep(row, work.result.value, set(request.POST.getlist("figure")), by=person(request), on=today)
    back = reverse("cameras:model", args=[slug])
    offer_undo(request, "Take it back", back, before=[before])
    messages.success(request, f"What was measured is kept with {row}.", extra_tags="undo")
    return redirect(back)
