from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod.catalogue.models import Placement
from trod.catalogue.rows import setups as making
from trod.catalogue.slugs import slug_from
from trod.errors import WrongInput
from trod.field import setup_code
from trod.field import setup_sheet as sheets
from trod.units import System
from trod.web.forms.common import units_for


def _placement(uuid: UUID) -> Placement:
    return get_object_or_404(Placement.objects.select_related("site__reserve", "camera_model"), uuid=uuid)


def _system(request: HttpRequest, row: Placement) -> System:
    return "us" if units_for(request, row.site.reserve) == "us" else "metric"


@require_GET
def setup_sheet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The set-up sheet on the screen; its print view is for paper without a PDF."""
    row = _placement(uuid)
    context: dict[str, Any] = {"placement": row, "site": row.site}
    try:
        data = making.setup_sheet_of(
            row,
            system=_system(request, row),
            now=timezone.now(),
            with_place=request.GET.get("place") == "1",
        )
    except WrongInput as trouble:
        return render(request, "trod/setup_sheet/setup_sheet.html", {**context, "problem": str(trouble)}, status=422)
    setup = data.setup
    plan, side = sheets.drawings(setup, theme="page")
    code = data.code.text() if data.code else ""
    context |= {
        "data": data,
        "setup": setup,
        "tiles": sheets.tiles(setup),
        "settings": setup.settings.settings,
        "plan": plan,
        "side": side,
        "legend": sheets.legend(setup),
        "outcomes": sheets.outcome_table(setup.day, setup.night),
        "compass": sheets.compass_hint(setup),
        "quiet": sheets.keep_quiet(data),
        "whereabouts": sheets.where_to(data),
        "blanks": sheets.BLANKS,
        "code": code,
        "code_svg": setup_code.code_svg(code) if code else "",
        "papers": sheets.PAPERS.items(),
        "place": "1" if data.with_place and row.site.sensitive else "",
    }
    answer = render(request, "trod/setup_sheet/setup_sheet.html", context)
    if row.site.sensitive:
        answer.headers["Cache-Control"] = "no-store"
    return answer


@require_GET
def pdf(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The set-up sheet as a PDF of one page."""
    row = _placement(uuid)
    try:
        data = making.setup_sheet_of(
            row,
            system=_system(request, row),
            now=timezone.now(),
            paper=request.GET.get("paper", "")[:20],
            with_place=request.GET.get("place") == "1",
        )
        made = sheets.setup_sheet_pdf(data)
    except WrongInput as trouble:
        context = {"placement": row, "site": row.site, "problem": str(trouble)}
        return render(request, "trod/setup_sheet/setup_sheet.html", context, status=422)
    answer = HttpResponse(made, content_type="application/pdf")
    name = slug_from(f"set-up sheet {row.site.name} {row.name}", "setup-sheet")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cache-Control"] = "no-store" if row.site.sensitive else "private, no-cache"
    return answer
