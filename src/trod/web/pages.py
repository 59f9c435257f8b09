"""What every page shares: the way round the house, the person at the keyboard, theme and units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from trod import __version__
from trod.web.access import person


@dataclass(frozen=True)
class Door:
    """One entry of the way round: label, url name, and the namespace that marks it as here."""

    label: str
    url_name: str
    room: str


NAV = (
    Door("Today", "today:today", "today"),
    Door("Map", "map:map", "map"),
    Door("Cameras", "cameras:cameras", "cameras"),
    Door("Rounds", "rounds:rounds", "rounds"),
    Door("Cards", "cards:cards", "cards"),
    Door("Review", "review:review", "review"),
    Door("Questions", "questions:questions", "questions"),
    Door("Reports", "reports:reports", "reports"),
)
FOOT = (
    Door("Cautions", "people:cautions", ""),
    Door("Settings", "people:settings", "people"),
)

# Rooms that have no door of their own: the one they are reached through.
THROUGH = {"maintenance": "cameras", "planner": "map", "setup_sheet": "map"}

THEMES = ("auto", "light", "night")


class HtmxRequest(HttpRequest):
    """A request as our middleware hands it on: `htmx` tells whether a part of a page is asked for."""

    htmx: HtmxDetails


def everywhere(request: HttpRequest) -> dict[str, Any]:
    """Added to every template."""
    from trod.catalogue.models import Reserve

    match = getattr(request, "resolver_match", None)
    room = match.namespace if match else ""
    theme = request.COOKIES.get("theme", "auto")
    reserve = Reserve.objects.order_by("id").first()
    units = request.COOKIES.get("units") or (reserve.units if reserve else "metric")
    return {
        "nav": NAV,
        "foot": FOOT,
        "here": THROUGH.get(room, room),
        "theme": theme if theme in THEMES else "auto",
        "units": "us" if units == "us" else "metric",
        "reserve": reserve,
        "person_name": person(request),
        "trod_version": __version__,
    }
