from __future__ import annotations

from django.urls import path

from trod.web.map import views
from trod.web.map import year as years
from trod.web.map.advice import views as advice

app_name = "map"
urlpatterns = [
    path("", views.reserve_map, name="map"),
    path("tracks/", views.tracks, name="tracks"),
    path("season/", advice.by_season, name="season"),
    path("sites/new/", views.site_pages.edit, name="site_new"),
    path("sites/of/<slug:slug>/", views.site, name="site"),
    path("sites/of/<slug:slug>/year/<int:year>/", years.year, name="site_year"),
    path("sites/of/<slug:slug>/change/", views.site_pages.edit, name="site_edit"),
    path("sites/of/<slug:slug>/delete/", views.site_pages.delete, name="site_delete"),
    path("sites/of/<slug:slug>/settings/", advice.site_settings, name="settings"),
    path("sign/new/", views.sign_pages.edit, name="sign_new"),
    path("sign/<int:pk>/", views.sign_pages.edit, name="sign_edit"),
    path("sign/<int:pk>/delete/", views.sign_pages.delete, name="sign_delete"),
]
