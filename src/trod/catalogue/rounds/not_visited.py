"""Stops of a round that nobody got to, and which of them still wait for somebody."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, Value, When

from trod.catalogue.models import NotVisited, Reserve, Round, Site, Visit


def _rows() -> QuerySet[NotVisited]:
    later = Visit.objects.filter(site=OuterRef("site"), at__gt=OuterRef("at"))
    of_it = later.filter(deployment=OuterRef("deployment"))
    went = Q(deployment__isnull=True) & Exists(later) | Q(deployment__isnull=False) & Exists(of_it)
    # Who ends a deployment was there; the site that is retired waits for nobody.
    over = went | Q(deployment__end__isnull=False) | Q(site__retired=True)
    waits = Case(When(over, then=Value(False)), default=Value(True))
    return NotVisited.objects.annotate(waits=waits).select_related("site", "deployment__camera").order_by("-at")


def waiting(reserve: Reserve) -> list[NotVisited]:
    """Those of a reserve where nobody has been since; of one camera the last alone, the oldest first."""
    last: dict[tuple[int, int | None], NotVisited] = {}
    for row in _rows().filter(site__reserve=reserve, waits=True):  # type: ignore[misc]  # annotated by _rows
        last.setdefault((row.site_id, row.deployment_id), row)
    return sorted(last.values(), key=lambda row: row.at)


def at_site(site: Site) -> list[NotVisited]:
    """Those of one site that still wait, the newest first."""
    return list(_rows().filter(site=site, waits=True))  # type: ignore[misc]  # annotated by _rows


def of_round(row: Round) -> list[NotVisited]:
    """All that came by one round's field form, in the order of time; `waits` says whether somebody went since."""
    return list(_rows().filter(field_form=str(row.uuid)).order_by("at"))


def what(row: NotVisited) -> str:
    """The camera and its site, or the site alone."""
    return f"{row.deployment.camera} at {row.site}" if row.deployment else str(row.site)


def listed(rows: Sequence[NotVisited]) -> list[dict[str, object]]:
    """For a page: (row, what, waits)."""
    return [{"row": row, "what": what(row), "waits": getattr(row, "waits", True)} for row in rows]
