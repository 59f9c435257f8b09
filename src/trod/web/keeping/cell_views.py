"""Pages: how long cells lasted."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from trod.web.keeping import cells
from trod.web.keeping.common import HERE, the_reserve
from trod.web.models import Camera


@require_GET
def all_cells(request: HttpRequest) -> HttpResponse:
    """Every camera's cells in a line; the longest in first."""
    found = cells.stories(the_reserve(), timezone.now())
    found.sort(key=lambda s: (-(s.present.days if s.present else -1), str(s.camera)))
    return render(request, "trod/keeping/all_cells.html", {"stories": found, **HERE})


@require_GET
def of_camera(request: HttpRequest, pk: int) -> HttpResponse:
    """One camera's sets of cells."""
    camera = get_object_or_404(Camera, pk=pk)
    reserve = the_reserve()
    (story,) = cells.stories(reserve, timezone.now(), only=camera)
    sets = [{"set": s, "end": cells.END_WORDS[s.end]} for s in story.sets]
    context = {
        "camera": camera,
        "story": story,
        "sets": sets[::-1],
        "chart": cells.bars(story.sets) if story.sets else None,
        "nights_known": cells.nights(reserve) is not None,
        **HERE,
    }
    return render(request, "trod/keeping/cells.html", context)
