from __future__ import annotations

from django.urls import path

from trod.web.rounds import home_views, set_views, views

app_name = "rounds"
urlpatterns = [
    path("", views.rounds, name="rounds"),
    path("new/", views.plan, name="new"),
    path("work/<int:pk>/", views.work, name="work"),
    path("of/<uuid:uuid>/", views.one, name="round"),
    path("of/<uuid:uuid>/change/", views.plan, name="change"),
    path("of/<uuid:uuid>/order/", views.order, name="order"),
    path("of/<uuid:uuid>/delete/", views.delete, name="delete"),
    path("of/<uuid:uuid>/take/<str:what>", views.paper, name="paper"),
    path("home/", home_views.bring, name="home"),
    path("home/held/<str:name>/", home_views.decide, name="decide"),
    path("photos/<slug:sha256>.jpg", home_views.photo, name="photo"),
    path("start/", set_views.start, name="start"),
    path("nights/", set_views.nights, name="nights"),
    path("heights/", set_views.heights, name="heights"),
]
