from __future__ import annotations

from django.urls import path

from trod.web.look import views

app_name = "look"
urlpatterns = [path("", views.look, name="look")]
