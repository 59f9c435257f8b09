"""Addresses: one line a work; each room has its own."""

from __future__ import annotations

from django.urls import include, path

from trod.web.cameras import urls as cameras
from trod.web.maintenance import urls as maintenance
from trod.web.rounds.home_views import hand_in

urlpatterns = [
    path("", include("trod.web.today.urls")),
    path("map/", include("trod.web.map.urls")),
    path("map/sites/of/<slug:slug>/planner/", include("trod.web.planner.urls")),
    path("cameras/maintenance/", include("trod.web.maintenance.urls")),
    path("cameras/", include(([*cameras.urlpatterns, *maintenance.below_cameras], cameras.app_name))),
    path("rounds/", include("trod.web.rounds.urls")),
    path("fieldform/visits/", hand_in),
    path("cards/", include("trod.web.cards.urls")),
    path("review/", include("trod.web.review.urls")),
    path("questions/", include("trod.web.questions.urls")),
    path("reports/", include("trod.web.reports.urls")),
    path("pictures/", include("trod.web.pictures.urls")),
    path("setup-sheets/", include("trod.web.setup_sheet.urls")),
    path("people/", include("trod.web.people.urls")),
]
handler404 = "trod.web.people.views.not_found"
handler500 = "trod.web.people.views.fault"
