"""The addresses of the board, the first day, and the phone without a network."""

from django.urls import URLPattern, path

from gearroom.site.web.overview import board, first_day, phone_copy

urlpatterns: list[URLPattern] = [
    path("", board.board, name="board"),
    path("board/lines/", board.board_lines, name="board-lines"),
    path("app.webmanifest", phone_copy.manifest, name="manifest"),
    path("worker.js", phone_copy.worker, name="worker"),
    path("offline/", phone_copy.shell, name="offline"),
    path("offline/ready/", phone_copy.ready, name="offline-ready"),
    path("offline/kits/", phone_copy.pocket_copy, name="offline-kits"),
    path("add-kit/", first_day.add_kit, name="add-kit"),
    path("first-day/", first_day.first_day, name="first-day"),
    path("first-day/workbook/", first_day.workbook, name="start-workbook"),
    path("first-day/workbook/empty/", first_day.blank_workbook, name="blank-workbook"),
]
