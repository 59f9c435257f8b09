from __future__ import annotations

from django.urls import path

from trod.web.setup_sheet import views

app_name = "setup_sheet"
urlpatterns = [
    path("<uuid:uuid>/", views.setup_sheet, name="setup_sheet"),
    path("<uuid:uuid>/setup-sheet.pdf", views.pdf, name="pdf"),
]
