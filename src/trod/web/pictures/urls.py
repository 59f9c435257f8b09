from __future__ import annotations

from django.urls import path, re_path

from trod.web.pictures import views

app_name = "pictures"
urlpatterns = [
    path("people/", views.people, name="people"),
    re_path(r"^(?P<sha256>[0-9a-f]{64})/(?P<kind>thumb|view|original)$", views.picture, name="picture"),
]
