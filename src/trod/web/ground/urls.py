from __future__ import annotations

from django.urls import path

from trod.web.ground import views

app_name = "ground"
urlpatterns = [path("", views.ground, name="ground")]
