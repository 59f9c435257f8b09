from __future__ import annotations

from django.urls import path

from trod.web.cameras import views

app_name = "cameras"
urlpatterns = [path("", views.cameras, name="cameras")]
