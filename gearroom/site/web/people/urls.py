"""The addresses of people and rooms."""

from django.urls import URLPattern, path

from gearroom.site.web.people import people, personal_records, rooms

urlpatterns: list[URLPattern] = [
    path("people/", people.all_people, name="people"),
    path("people/add/", people.add, name="add-person"),
    path("people/<int:person>/", people.person, name="person"),
    path("people/<int:person>/role/", people.add_role, name="add-role"),
    path("people/<int:person>/role/end/", people.end_role, name="end-role"),
    path("people/<int:person>/sign-in/", people.sign_in, name="give-sign-in"),
    path("people/<int:person>/left/", people.left, name="left"),
    path("people/<int:person>/back/", people.came_back, name="came-back"),
    path("people/<int:person>/merge/", personal_records.merge, name="merge-person"),
    path("people/names/", personal_records.names, name="names"),
    path("people/<int:person>/export/", personal_records.export, name="export-person"),
    path("people/<int:person>/erase/", personal_records.erase, name="erase-person"),
    path("people/<int:person>/tag/", people.make_tag, name="make-tag"),
    path("rooms/", rooms.all_rooms, name="rooms"),
    path("rooms/<slug:room>/", rooms.room, name="room"),
    path("rooms/<slug:room>/shelves/", rooms.add_shelf, name="add-shelf"),
    path("shelves/<int:shelf>/", rooms.shelf, name="shelf"),
]
