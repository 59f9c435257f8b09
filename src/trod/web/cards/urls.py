from __future__ import annotations

from django.urls import path

from trod.web.cards import views

app_name = "cards"
urlpatterns = [path("", views.cards, name="cards")]
