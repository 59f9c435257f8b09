from __future__ import annotations

from django.urls import path

from trod.web.cameras import clock_views, effort_views, imports, models_resolve_views, models_views, power, views

app_name = "cameras"
urlpatterns = [
    path("", views.cameras, name="cameras"),
    path("new/", views.camera_pages.edit, name="camera_new"),
    path("<int:pk>/", views.camera, name="camera"),
    path("<int:pk>/change/", views.camera_pages.edit, name="camera_edit"),
    path("<int:pk>/delete/", views.camera_pages.delete, name="camera_delete"),
    path("models/", models_views.models, name="models"),
    path("models/new/", models_views.model_pages.edit, name="model_new"),
    path("models/list.csv", models_views.models_table, name="models_table"),
    path("models/sample.csv", models_views.models_sample, name="models_sample"),
    path("models/import/", models_views.models_import, name="models_import"),
    path("models/of/<slug:slug>/", models_views.model, name="model"),
    path("models/of/<slug:slug>/change/", models_views.model_pages.edit, name="model_edit"),
    path("models/of/<slug:slug>/delete/", models_views.model_pages.delete, name="model_delete"),
    path("models/of/<slug:slug>/resolves/", models_resolve_views.resolves, name="resolves"),
    path("models/of/<slug:slug>/resolves/<slug:token>/", models_resolve_views.resolves_work, name="resolves_work"),
    path("models/of/<slug:slug>/resolves/<slug:token>/keep/", models_resolve_views.resolves_keep, name="resolves_keep"),
    path("models/target-<slug:paper>.pdf", models_resolve_views.target, name="target"),
    path("compare/", models_views.compare, name="compare"),
    path("compare/answer/", models_views.compare_answer, name="compare_answer"),
    path("cards/new/", views.card_pages.edit, name="card_new"),
    path("cards/<int:pk>/", views.card_pages.edit, name="card_edit"),
    path("cards/<int:pk>/delete/", views.card_pages.delete, name="card_delete"),
    path("deployments/new/", views.deployment_pages.edit, name="deployment_new"),
    path("deployments/of/<slug:slug>/", views.deployment, name="deployment"),
    path("deployments/of/<slug:slug>/change/", views.deployment_pages.edit, name="deployment_edit"),
    path("deployments/of/<slug:slug>/end/", views.deployment_end, name="deployment_end"),
    path("deployments/of/<slug:slug>/delete/", views.deployment_pages.delete, name="deployment_delete"),
    path("deployments/of/<slug:slug>/power/", power.power, name="power"),
    path("deployments/of/<slug:slug>/power/work/", power.power_work, name="power_work"),
    path("deployments/of/<slug:slug>/clock/", clock_views.clock_new, name="clock_new"),
    path("deployments/of/<slug:slug>/clock/visits/<int:pk>/", clock_views.clock_by_visit, name="clock_by_visit"),
    path("deployments/of/<slug:slug>/clock/work/", clock_views.clock_work, name="clock_work"),
    path("effort/", effort_views.effort, name="effort"),
    path("effort/by-day.csv", effort_views.effort_csv, name="effort_csv"),
    path("deployments/of/<slug:slug>/silence/", effort_views.silence, name="silence"),
    path("silences/<uuid:uuid>/undo/", effort_views.silence_undo, name="silence_undo"),
    path("clock/<int:pk>/undo/", clock_views.clock_undo, name="clock_undo"),
    path("import/<slug:what>/", imports.import_page, name="import"),
    path("import/<slug:what>/sample.csv", imports.sample, name="import_sample"),
]
