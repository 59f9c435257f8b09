from __future__ import annotations

from django.urls import path

from trod.web.today import views

app_name = "today"
urlpatterns = [path("", views.today, name="today")]
