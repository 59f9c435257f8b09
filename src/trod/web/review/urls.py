from __future__ import annotations

from django.urls import path

from trod.web.review import views

app_name = "review"
urlpatterns = [
    path("", views.look, name="review"),
    path("<int:pk>", views.sequence, name="sequence"),
    path("more", views.more, name="more"),
    path("one/<int:pk>", views.one, name="one"),
    path("act", views.act, name="act"),
]
