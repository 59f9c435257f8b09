"""Addresses: one line a work; each room has its own."""

from __future__ import annotations

from django.urls import include, path

from trod.web.rounds.home_views import hand_in

urlpatterns = [
    path("", include("trod.web.today.urls")),
    path("ground/", include("trod.web.ground.urls")),
    path("ground/sites/of/<slug:slug>/bench/", include("trod.web.bench.urls")),
    path("cameras/keeping/", include("trod.web.keeping.urls")),
    path("cameras/", include("trod.web.cameras.urls")),
    path("rounds/", include("trod.web.rounds.urls")),
    path("packet/visits/", hand_in),
    path("cards/", include("trod.web.cards.urls")),
    path("look/", include("trod.web.look.urls")),
    path("questions/", include("trod.web.questions.urls")),
    path("reports/", include("trod.web.reports.urls")),
    path("pictures/", include("trod.web.pictures.urls")),
    path("slips/", include("trod.web.slip.urls")),
    path("people/", include("trod.web.people.urls")),
]
handler404 = "trod.web.people.views.not_found"
handler500 = "trod.web.people.views.fault"
