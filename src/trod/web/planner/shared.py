"""What the placement planner's views share: the site at hand, and an undo for what a press changed."""

from __future__ import annotations

from typing import Any

from django.core import serializers
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from trod.catalogue.models import Site


def site_of(slug: str) -> Site:
    """The site, with its reserve; 404 without one."""
    return get_object_or_404(Site.objects.select_related("reserve"), slug=slug)


def offer_undo(request: HttpRequest, rows: list[Any], *, what: str, after: str) -> None:
    """Offer to put changed rows back as they were."""
    request.session["undo"] = {"what": what, "made": [], "rows": serializers.serialize("json", rows), "next": after}
