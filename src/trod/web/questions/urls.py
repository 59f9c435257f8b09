from __future__ import annotations

from django.urls import path

from trod.web.questions import views

app_name = "questions"
urlpatterns = [path("", views.questions, name="questions")]
