from __future__ import annotations

from django.urls import path

from trod.web.keeping import card_views, cell_views, lock_views, mishap_views, stock_views, views

app_name = "keeping"
urlpatterns = [
    path("", views.keeping, name="keeping"),
    path("cards/<int:pk>/", card_views.card, name="card"),
    path("cards/<int:pk>/state/", card_views.card_state, name="card_state"),
    path("locks/", lock_views.locks_page, name="locks"),
    path("locks/new/", lock_views.edit, name="lock_new"),
    path("locks/phrase/", lock_views.phrase, name="locks_phrase"),
    path("locks/cover/", lock_views.cover, name="locks_cover"),
    path("locks/who/", lock_views.give, name="locks_give"),
    path("locks/<uuid:uuid>/", lock_views.edit, name="lock_edit"),
    path("locks/<uuid:uuid>/numbers/", lock_views.show, name="lock_show"),
    path("locks/<uuid:uuid>/delete/", lock_views.delete, name="lock_delete"),
    path("mishaps/", mishap_views.log, name="mishaps"),
    path("mishaps/new/", mishap_views.edit, name="mishap_new"),
    path("mishaps/<uuid:uuid>/", mishap_views.edit, name="mishap_edit"),
    path("mishaps/<uuid:uuid>/delete/", mishap_views.delete, name="mishap_delete"),
    path("mishaps/rate/", mishap_views.take_rate, name="take_rest"),
    path("mishaps/rate/<slug:slug>/", mishap_views.take_rate, name="take_rate"),
    path("cells/", cell_views.all_cells, name="all_cells"),
    path("cells/<int:pk>/", cell_views.of_camera, name="cells"),
    path("stock/", stock_views.shelf, name="stock"),
    path("stock/new/", stock_views.edit, name="stock_new"),
    path("stock/visits/", stock_views.book_visits, name="book_visits"),
    path("stock/<uuid:uuid>/", stock_views.item, name="stock_item"),
    path("stock/<uuid:uuid>/change/", stock_views.edit, name="stock_edit"),
    path("stock/<uuid:uuid>/delete/", stock_views.delete, name="stock_delete"),
    path("stock/<uuid:uuid>/book/", stock_views.book, name="book"),
    path("stock/bookings/<uuid:uuid>/back/", stock_views.unbook, name="unbook"),
    path("costs/", stock_views.cost_page, name="costs"),
    path("costs/<int:year>/", stock_views.cost_page, name="costs_of"),
    path("costs/<int:year>/costs.csv", stock_views.cost_table, name="cost_table"),
    path("costs/<int:year>/delete/", stock_views.delete_year, name="cost_delete"),
]
