"""What the field says of a camera: walk tests noted, first pictures counted, beside its maker's claims."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import units as conversions
from trod.catalogue.models import CameraModel, Deployment, Site, WalkTest
from trod.catalogue.rows import usual
from trod.catalogue.rows.specs import spec_of
from trod.errors import NotEnoughEvidence, WrongInput
from trod.planning.catch import animals
from trod.telling import calibrations
from trod.units import system_of
from trod.web import seen
from trod.web.access import person
from trod.web.forms import walks
from trod.web.forms.common import offer_undo, status_of, tell_merged, units_for
from trod.web.forms.records import RecordPages
from trod.web.planner import pages
from trod.web.planner.counts import CountsForm
from trod.web.planner.shared import site_of
from trod.web.shared import walk_evidence as evidence


def _model(request: HttpRequest, site: Site) -> CameraModel | None:
    slug = request.GET.get("model") or request.POST.get("model") or usual.model(site)
    return CameraModel.objects.filter(slug=slug).first()


@require_GET
def field(request: HttpRequest, slug: str) -> HttpResponse:
    """A maker's claims beside what walk tests, and counted first pictures, say."""
    site = site_of(slug)
    model = _model(request, site)
    context: dict[str, Any] = {"site": site, "model": model, "models": pages.models()}
    if model is not None:
        spec = spec_of(model)
        tests = evidence.tests_of(model)
        units = units_for(request, site.reserve)
        says = evidence.says(spec, tests, system=units)
        context |= {
            "says": says,
            "keep_words": _keep_words(says, units),
            "tests": tests[::-1],
            "standing": Deployment.objects.filter(camera__model=model, end__isnull=True).select_related(
                "camera", "site"
            ),
            "blanks": evidence.blanks_of(site),
            **_counted(request, site, spec, units),
        }
    return render(request, "trod/planner/field.html", context)


def _keep_words(says: evidence.Says | None, system: conversions.System) -> list[tuple[str, str]]:
    kept = says.keep if says else ()
    return [(calibrations.name(axis), calibrations.figure(value, axis, system)) for axis, value in kept]


def _counted(request: HttpRequest, site: Site, spec: Any, units: str) -> dict[str, Any]:
    """The counts that were typed, and what they say. Nothing of it is saved."""
    offset_m = pages.inputs_of(site).get("offset_m", 4.0)
    form = CountsForm(request.GET.dict(), animal=usual.animal(site), offset_m=offset_m, system=system_of(units))
    context: dict[str, Any] = {"counts": form}
    try:
        if (found := form.counts()) is not None:
            calibration = evidence.by_pictures(found, animals.animal(form.cleaned_data["animal"]), form.path(), spec)
            context["picture_says"] = evidence.told(spec, calibration, f"at {site}", system=conversions.system_of(units))
    except (WrongInput, NotEnoughEvidence) as trouble:
        form.add_error(None, f"{trouble}.")
    return context


@require_POST
def keep(request: HttpRequest, slug: str) -> HttpResponse:
    """Write what walk tests tell down with the camera model, as measured. It can be put back."""
    site = site_of(slug)  # a site that is not there is told before anything else
    model = get_object_or_404(CameraModel, slug=request.POST.get("model", ""))
    back = f"{reverse('planner:field', args=[slug])}?model={model.slug}"
    says = evidence.says(spec_of(model), evidence.tests_of(model), system=units_for(request, site.reserve))
    if says is None or not says.keep:
        messages.error(request, "The walks noted so far tell no figure well enough to keep it.")
        return redirect(back)
    seen.check(request, model, only=("measured",), mine="the figures of the walk tests")
    offer_undo(request, f"Put {model} back as it was", back, before=[model])
    model.measured = {**(model.measured or {}), **dict(says.keep)}
    model.save(update_fields=["measured"])
    messages.success(request, f"{model} is now reckoned with as the field says.", extra_tags="undo")
    return redirect(back)


@require_http_methods(["GET", "POST"])
def walk_test(request: HttpRequest, slug: str, uuid: Any = None) -> HttpResponse:
    """Note the walks of a walk test, or change them."""
    site = site_of(slug)
    units = units_for(request, site.reserve)
    row = get_object_or_404(WalkTest, uuid=uuid, deployment__site=site) if uuid else None
    deployment = row.deployment if row else _deployment(request, site)
    if deployment is None:
        messages.info(request, f"No camera stands at {site}: a walk test is walked past one that does.")
        return redirect("cameras:deployment_new")
    model = deployment.camera.model
    back = reverse("planner:field", args=[slug]) + (f"?model={model.slug}" if model else "")
    lines, problems = walks.lines_of(row, units), []
    found: list[dict[str, Any]] = []
    if request.method == "POST":
        lines, found = walks.read(request.POST, units)
    form = walks.WalkTestForm(
        request.POST or None,
        found=found,
        instance=row or WalkTest(deployment=deployment),
        reserve=site.reserve,
        units=units,
        person=person(request),
    )
    if request.method == "POST":
        wrong = [line.n for line in lines if line.error]
        if request.POST.get("more"):
            lines += walks.more(lines, units)
        elif wrong:
            problems = [f"Mend walk {', '.join(map(str, wrong))}."]
        elif not found:
            problems = ["No walk is noted: say of at least one what its first picture shows."]
        elif form.is_valid():
            form.instance.walks = kept = form.found
            if form.keep() is not None:
                messages.success(request, f"{len(kept)} walk{'s' if len(kept) > 1 else ''} noted.")
                tell_merged(request, form)
                return redirect(back)
    context = {
        "site": site,
        "form": form,
        "walks": lines,
        "problems": problems,
        "title": f"Walk test past {deployment.camera} at {site}",
        "back": back,
        "length_sign": conversions.scale("m", units).sign,
        "delete_url": reverse("planner:walk_test_delete", args=[slug, row.uuid]) if row else "",
    }
    status = 422 if problems else status_of(form) if form.errors else 200
    return render(request, "trod/planner/walk_test.html", context, status=status)


def _deployment(request: HttpRequest, site: Site) -> Deployment | None:
    rows = site.deployments.select_related("camera__model").order_by("-start")
    asked = request.GET.get("deployment", "")
    return rows.filter(slug=asked).first() if asked else rows.filter(end__isnull=True).first()


class WalkTestPages(RecordPages[WalkTest]):
    """Walk tests, as they are deleted; `walk_test` has a page of its own."""

    model, called = WalkTest, "the walk test ({row})"

    def find(self, **keys: Any) -> WalkTest:
        return super().find(uuid=keys["uuid"], deployment__site__slug=keys["slug"])

    def back_from_delete(self, row: WalkTest, **keys: Any) -> str:
        return reverse("planner:walk_test", kwargs=keys)

    def after_delete(self, row: WalkTest) -> str:
        return reverse("planner:field", args=[row.deployment.site.slug])


walk_test_pages = WalkTestPages()
