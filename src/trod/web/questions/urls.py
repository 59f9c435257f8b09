from __future__ import annotations

from django.urls import path, re_path, register_converter

from trod.catalogue.answers.answers import ASK
from trod.web.questions import (
    behind,
    compare,
    equal_cameras,
    first_last,
    independence,
    kept,
    open_formats,
    overlap,
    panels,
    views,
)


class KindConverter:
    """One of the three questions."""

    regex = "|".join(ASK)

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(KindConverter, "question")

app_name = "questions"
urlpatterns = [
    path("", views.questions, name="questions"),
    path("compare", compare.compare, name="compare"),
    path("overlap", overlap.overlap, name="overlap"),
    path("first-last", first_last.first_last, name="first-last"),
    path("<slug:kind>.json", open_formats.as_json, name="json"),
    path("<slug:kind>.csv", open_formats.as_csv, name="csv"),
    path("side-by-side", panels.panels, name="side-by-side"),
    path("pictures/<slug:door>", behind.of_door, name="door-pictures"),
    path("independence", independence.independence, name="independence"),
    path("equal-cameras", equal_cameras.equal, name="equal-cameras"),
    path("keep", kept.keep, name="keep"),
    path("kept/<uuid:uuid>", kept.kept, name="kept"),
    path("kept/<uuid:uuid>/again", kept.again, name="again"),
    path("kept/<uuid:uuid>/forget", kept.forget, name="forget"),
    re_path(r"^charts/(?P<stamp>[0-9a-z.-]{1,60})\.js$", views.charts_script, name="charts_script"),
    path("<question:kind>", views.question, name="question"),
    path("<question:kind>/pictures", behind.behind, name="behind"),
]
