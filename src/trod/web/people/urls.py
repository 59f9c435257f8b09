from __future__ import annotations

from django.urls import path

from trod.web.forms.people import DoorForm
from trod.web.people import views
from trod.web.people.door import Door, Leave

app_name = "people"
urlpatterns = [
    path(
        "login/",
        Door.as_view(template_name="trod/login.html", authentication_form=DoorForm),
        name="login",
    ),
    path("logout/", Leave.as_view(next_page="today:today"), name="logout"),
    path("cautions/", views.cautions, name="cautions"),
    path("settings/", views.settings, name="settings"),
    path("reserve/", views.reserve, name="reserve"),
    path("species/", views.species_list, name="species"),
    path("species/new/", views.species_pages.edit, name="species_new"),
    path("species/of/<slug:slug>/", views.species_pages.edit, name="species_edit"),
    path("species/of/<slug:slug>/delete/", views.species_pages.delete, name="species_delete"),
    path("accounts/new/", views.account_new, name="account_new"),
    path("accounts/<int:pk>/close/", views.account_close, name="account_close"),
    path("accounts/people/", views.see_people, name="see_people"),
    path("undo/", views.undo, name="undo"),
]
