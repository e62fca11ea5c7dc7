"""The addresses of recalls."""

from django.urls import URLPattern, path

from gearroom.site.web.recalls import recalls

urlpatterns: list[URLPattern] = [
    path("stock/recalls/", recalls.all_recalls, name="recalls"),
    path("stock/recalls/<int:recall>/", recalls.recall, name="recall"),
    path("stock/recalls/<int:recall>/answer/", recalls.answer, name="recall-answer"),
    path("stock/recalls/<int:recall>/told/", recalls.mark_notified, name="recall-notified"),
    path("stock/recalls/<int:recall>/close/", recalls.close, name="recall-close"),
    path("stock/recalls/<int:recall>/reopen/", recalls.reopen, name="recall-reopen"),
    path("stock/recalls/<int:recall>/put-back/", recalls.put_back, name="recall-put-back"),
]
