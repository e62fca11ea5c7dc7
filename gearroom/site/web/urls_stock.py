"""The addresses of the pages of stock, below /stock/."""

from django.urls import URLPattern, path

from gearroom.site.web.recalls import recalls
from gearroom.site.web.stock import (
    counting,
    disposing,
    item_editing,
    moving,
    receiving,
    stock,
    undated,
)

urlpatterns: list[URLPattern] = [
    path("", stock.every, name="stock"),
    path("expiry/", stock.expiry, name="stock-expiry"),
    path("receive/", receiving.receive, name="receive"),
    path("receive/new/", receiving.new_thing, name="receive-new"),
    path("count/", counting.shelves, name="count"),
    path("count/<int:shelf>/", counting.shelf, name="count-shelf"),
    path("count/<int:shelf>/paper/", counting.paper, name="count-paper"),
    path("out-of-date/", disposing.out_of_date, name="out-of-date"),
    path("undated/", undated.every, name="undated"),
    path("arrive/", moving.arrive, name="arrive"),
    path("at/<int:place>/<int:lot>/", moving.at, name="stock-at"),
    path("recalls/", recalls.every, name="recalls"),
    path("recalls/<int:recall>/", recalls.one, name="recall"),
    path("recalls/<int:recall>/answer/", recalls.answer, name="recall-answer"),
    path("recalls/<int:recall>/told/", recalls.told, name="recall-told"),
    path("recalls/<int:recall>/close/", recalls.close, name="recall-close"),
    path("recalls/<int:recall>/reopen/", recalls.reopen, name="recall-reopen"),
    path("recalls/<int:recall>/put-back/", recalls.put_back, name="recall-put-back"),
    path("<int:item>/", stock.thing, name="thing"),
    path("<int:item>/edit/", item_editing.edit, name="edit-thing"),
]
