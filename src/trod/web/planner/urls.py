from __future__ import annotations

from django.urls import path

from trod.web.planner import field_views, hills_views, views

app_name = "planner"
urlpatterns = [
    path("", views.planner, name="planner"),
    path("answer/", views.answer, name="answer"),
    path("closer/", views.closer, name="closer"),
    path("keep/", views.keep, name="keep"),
    path("place/", views.place, name="place"),
    path("hills/", hills_views.hills, name="hills"),
    path("beside/", views.beside, name="beside"),
    path("kept/<uuid:uuid>/", views.kept, name="kept"),
    path("kept/<uuid:uuid>/name/", views.rename, name="rename"),
    path("kept/<uuid:uuid>/choose/", views.choose, name="choose"),
    path("kept/<uuid:uuid>/delete/", views.delete, name="delete"),
    path("field/", field_views.field, name="field"),
    path("field/keep/", field_views.keep, name="field_keep"),
    path("walk-test/", field_views.walk_test, name="walk_test_new"),
    path("walk-test/<uuid:uuid>/", field_views.walk_test, name="walk_test"),
    path("walk-test/<uuid:uuid>/delete/", field_views.walk_test_pages.delete, name="walk_test_delete"),
]
