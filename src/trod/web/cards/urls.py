from __future__ import annotations

from django.urls import path

from trod.web.cards import clock, records, views, work

app_name = "cards"
urlpatterns = [
    path("", views.cards, name="cards"),
    path("folder/", views.folder, name="folder"),
    path("from/", views.source, name="from"),
    path("begin/", views.begin, name="begin"),
    path("import/<str:name>/", views.card_import, name="card_import"),
    path("import/<str:name>/again/", views.again, name="again"),
    path("import/<str:name>/place/", views.place, name="place"),
    path("import/<str:name>/accept/", views.accept, name="accept"),
    path("import/<str:name>/clock/", views.clock, name="clock"),
    path("import/<str:name>/clock/<int:number>/", clock.fault, name="clock_fault"),
    path("records/", records.records, name="records"),
    path("records/look/", records.look, name="records_look"),
    path("records/begin/", records.begin, name="records_begin"),
    path("records/<uuid:uuid>/undo/", records.undo, name="records_undo"),
    path("work/verify/", work.verify, name="verify"),
    path("work/backup/", work.backup, name="backup"),
    path("work/<int:pk>/", work.job, name="job"),
    path("work/<int:pk>/bar/", work.bar, name="bar"),
    path("work/<int:pk>/<str:what>/", work.wish, name="wish"),
]
