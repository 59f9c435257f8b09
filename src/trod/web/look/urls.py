from __future__ import annotations

from django.urls import path

from trod.web.look import views

app_name = "look"
urlpatterns = [
    path("", views.look, name="look"),
    path("<int:pk>", views.event, name="event"),
    path("more", views.more, name="more"),
    path("one/<int:pk>", views.one, name="one"),
    path("act", views.act, name="act"),
]
