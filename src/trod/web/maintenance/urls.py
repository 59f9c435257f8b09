from __future__ import annotations

from django.urls import path

from trod.web.maintenance import battery_views, card_views, incident_views, lock_views, stock_views, views, visit_views

app_name = "maintenance"
urlpatterns = [
    path("", views.maintenance, name="maintenance"),
    path("cards/<int:pk>/", card_views.card, name="card"),
    path("cards/<int:pk>/state/", card_views.card_state, name="card_state"),
    path("locks/", lock_views.locks_page, name="locks"),
    path("locks/new/", lock_views.pages.edit, name="lock_new"),
    path("locks/phrase/", lock_views.phrase, name="locks_phrase"),
    path("locks/cover/", lock_views.cover, name="locks_cover"),
    path("locks/who/", lock_views.give, name="locks_give"),
    path("locks/<uuid:uuid>/", lock_views.pages.edit, name="lock_edit"),
    path("locks/<uuid:uuid>/numbers/", lock_views.show, name="lock_show"),
    path("locks/<uuid:uuid>/delete/", lock_views.pages.delete, name="lock_delete"),
    path("incidents/", incident_views.log, name="incidents"),
    path("incidents/new/", incident_views.pages.edit, name="incident_new"),
    path("incidents/<uuid:uuid>/", incident_views.pages.edit, name="incident_edit"),
    path("incidents/<uuid:uuid>/delete/", incident_views.pages.delete, name="incident_delete"),
    path("incidents/rate/", incident_views.take_rate, name="take_rest"),
    path("incidents/rate/<slug:slug>/", incident_views.take_rate, name="take_rate"),
    path("batteries/", battery_views.all_batteries, name="all_batteries"),
    path("batteries/<int:pk>/", battery_views.of_camera, name="batteries"),
    path("stock/", stock_views.stock_list, name="stock"),
    path("stock/new/", stock_views.pages.edit, name="stock_new"),
    path("stock/visits/", stock_views.book_visits, name="book_visits"),
    path("stock/<uuid:uuid>/", stock_views.item, name="stock_item"),
    path("stock/<uuid:uuid>/change/", stock_views.pages.edit, name="stock_edit"),
    path("stock/<uuid:uuid>/delete/", stock_views.pages.delete, name="stock_delete"),
    path("stock/<uuid:uuid>/book/", stock_views.book, name="book"),
    path("stock/bookings/<uuid:uuid>/back/", stock_views.unbook, name="unbook"),
    path("costs/", stock_views.cost_page, name="costs"),
    path("costs/<int:year>/", stock_views.cost_page, name="costs_of"),
    path("costs/<int:year>/costs.csv", stock_views.cost_table, name="cost_table"),
    path("costs/<int:year>/delete/", stock_views.year_pages.delete, name="cost_delete"),
]

# Cards and visits stand below the cameras, with the addresses of that room.
below_cameras = [
    path("cards/", card_views.chain, name="cards"),
    path("visits/new/", visit_views.visit_edit, name="visit_new"),
    path("visits/<int:pk>/", visit_views.visit_edit, name="visit_edit"),
    path("visits/<int:pk>/delete/", visit_views.pages.delete, name="visit_delete"),
]
