"""The addresses of stock."""

from django.urls import URLPattern, path

from gearroom.site.web.stock import (
    counting,
    item_editing,
    moving,
    receiving,
    stock,
)

urlpatterns: list[URLPattern] = [
    path("stock/", stock.all_items, name="stock"),
    path("stock/expiry/", stock.expiry, name="stock-expiry"),
    path("stock/receive/", receiving.receive, name="receive"),
    path("stock/receive/new/", receiving.new_item, name="receive-new"),
    path("stock/count/", counting.shelves, name="count"),
    path("stock/count/<int:shelf>/", counting.shelf, name="count-shelf"),
    path("stock/count/<int:shelf>/paper/", counting.paper, name="count-paper"),
    path("stock/out-of-date/", stock.out_of_date, name="out-of-date"),
    path("stock/undated/", stock.to_check, name="undated"),
    path("stock/arrive/", moving.arrive, name="arrive"),
    path("stock/at/<int:place>/<int:lot>/", moving.batch_at, name="stock-at"),
    path("stock/<int:item>/", stock.item, name="thing"),
    path("stock/<int:item>/edit/", item_editing.edit, name="edit-thing"),
]
