"""What the placement planner's views share: the site at hand."""

from __future__ import annotations

from django.shortcuts import get_object_or_404

from trod.catalogue.models import Site


def site_of(slug: str) -> Site:
    """The site, with its reserve; 404 without one."""
    return get_object_or_404(Site.objects.select_related("reserve"), slug=slug)
