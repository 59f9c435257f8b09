from __future__ import annotations

from django.contrib.auth import views as auth
from django.urls import path

from trod.web.people import views

app_name = "people"
urlpatterns = [
    path("login/", auth.LoginView.as_view(template_name="trod/login.html"), name="login"),
    path("logout/", auth.LogoutView.as_view(next_page="today:today"), name="logout"),
    path("cautions/", views.cautions, name="cautions"),
    path("settings/", views.settings, name="settings"),
]
