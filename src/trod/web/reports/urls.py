from __future__ import annotations

from django.urls import path

from trod.web.reports import views

app_name = "reports"
urlpatterns = [path("", views.reports, name="reports")]
