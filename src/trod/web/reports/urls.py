from __future__ import annotations

from django.urls import path, re_path

from trod.web.reports import export_views, views

app_name = "reports"
urlpatterns = [
    path("", views.reports, name="reports"),
    path("export", export_views.export, name="export"),
    path("make", views.make, name="make"),
    path("work/<int:pk>", views.work, name="work"),
    re_path(r"^(?P<name>[0-9a-z-]{12,100})\.(?P<ending>pdf|zip)$", views.file, name="file"),
    re_path(r"^(?P<name>[0-9a-z-]{12,100})/delete$", views.delete, name="delete"),
]
