"""Pages: how long batteries lasted."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod.catalogue.models import Camera
from trod.web.forms.records import the_reserve
from trod.web.maintenance import batteries


@require_GET
def all_batteries(request: HttpRequest) -> HttpResponse:
    """Every camera's batteries in a line; the longest in first."""
    found = batteries.stories(the_reserve(), timezone.now())
    found.sort(key=lambda s: (-(s.present.days if s.present else -1), str(s.camera)))
    return render(request, "trod/maintenance/all_batteries.html", {"stories": found})


@require_GET
def of_camera(request: HttpRequest, pk: int) -> HttpResponse:
    """One camera's sets of batteries."""
    camera = get_object_or_404(Camera, pk=pk)
    reserve = the_reserve()
    (story,) = batteries.stories(reserve, timezone.now(), only=camera)
    voltages = batteries.voltages(camera, story.sets)
    sets = [
        {"set": s, "end": batteries.END_WORDS[s.end], "voltage": v} for s, v in zip(story.sets, voltages, strict=True)
    ]
    context = {
        "camera": camera,
        "story": story,
        "sets": sets[::-1],
        "chart": batteries.bars_svg(story.sets) if story.sets else "",
        "marks": [(batteries.mark_svg(end), words) for end, words in batteries.MARKS],
        "voltages_known": any(voltages),
        "nights_known": batteries.nights(reserve) is not None,
    }
    return render(request, "trod/maintenance/batteries.html", context)
