from __future__ import annotations

from django.urls import path

from trod.web.slip import views

app_name = "slip"
urlpatterns = [
    path("<uuid:uuid>/", views.slip, name="slip"),
    path("<uuid:uuid>/slip.pdf", views.pdf, name="pdf"),
]
