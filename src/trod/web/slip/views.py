from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod.errors import WrongInput
from trod.planning.said import System
from trod.report import setup_slip, slip_code
from trod.web.forms_common import slug_from, units_for
from trod.web.models import Placement
from trod.web.slip import making


def _placement(uuid: UUID) -> Placement:
    return get_object_or_404(Placement.objects.select_related("site__reserve", "camera_model"), uuid=uuid)


def _system(request: HttpRequest, row: Placement) -> System:
    return "us" if units_for(request, row.site.reserve) == "us" else "metric"


@require_GET
def slip(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The setup slip on the screen; its print view is for paper without a PDF."""
    row = _placement(uuid)
    context: dict[str, Any] = {"placement": row, "site": row.site}
    try:
        data = making.slip_of(
            row,
            system=_system(request, row),
            now=timezone.now(),
            with_place=request.GET.get("place") == "1",
        )
    except WrongInput as trouble:
        return render(request, "trod/slip/slip.html", {**context, "problem": str(trouble)}, status=422)
    setup = data.setup
    plan, side = setup_slip.drawings(setup, theme="page")
    code = data.code.text() if data.code else ""
    context |= {
        "data": data,
        "setup": setup,
        "tiles": setup_slip.tiles(setup),
        "settings": setup.settings.settings,
        "plan": plan,
        "side": side,
        "legend": setup_slip.legend(setup),
        "outcomes": setup_slip.outcome_table(setup.day, setup.night),
        "compass": setup_slip.compass_hint(setup),
        "quiet": setup_slip.keep_quiet(data),
        "whereabouts": setup_slip.where_to(data),
        "blanks": setup_slip.BLANKS,
        "code": code,
        "code_svg": slip_code.code_svg(code) if code else "",
        "papers": setup_slip.PAPERS.items(),
        "place": "1" if data.with_place and row.site.sensitive else "",
    }
    answer = render(request, "trod/slip/slip.html", context)
    if row.site.sensitive:
        answer.headers["Cache-Control"] = "no-store"
    return answer


@require_GET
def pdf(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The setup slip as a PDF of one page."""
    row = _placement(uuid)
    try:
        data = making.slip_of(
            row,
            system=_system(request, row),
            now=timezone.now(),
            paper=request.GET.get("paper", "")[:20],
            with_place=request.GET.get("place") == "1",
        )
        made = setup_slip.slip_pdf(data)
    except WrongInput as trouble:
        context = {"placement": row, "site": row.site, "problem": str(trouble)}
        return render(request, "trod/slip/slip.html", context, status=422)
    answer = HttpResponse(made, content_type="application/pdf")
    name = slug_from(f"setup slip {row.site.name} {row.name}", "setup-slip")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cache-Control"] = "no-store" if row.site.sensitive else "private, no-cache"
    return answer
