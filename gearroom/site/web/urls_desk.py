"""The addresses of the desk: signing in, notices, people, rooms, labels, tokens, settings."""

from django.urls import URLPattern, path

from gearroom.site.web.accounts import devices, shared_device, sign_in, sign_ins, tokens
from gearroom.site.web.kits import kit_settings
from gearroom.site.web.labelling import own_sheets, papers, printing
from gearroom.site.web.notices import notices
from gearroom.site.web.page import settings
from gearroom.site.web.people import merging, people, personal_records, rooms
from gearroom.site.web.scan import binding

urlpatterns: list[URLPattern] = [
    path("sign-in/", sign_in.sign_in, name="sign-in"),
    path("sign-out/", sign_in.sign_out, name="sign-out"),
    path("room/", sign_in.choose_room, name="choose-room"),
    path("notices/", notices.every, name="notices"),
    path("notices/weekly/", notices.next_weekly, name="weekly"),
    path("notices/settings/", notices.settings, name="notice-settings"),
    path("notices/calendar/", notices.new_calendar, name="new-calendar"),
    path("notices/calendar/end/", notices.end_calendar, name="end-calendar"),
    path("notices/<int:notice>/", notices.one, name="notice"),
    path("notices/<int:notice>/again/", notices.send_again, name="notice-again"),
    path("people/", people.every, name="people"),
    path("people/add/", people.add, name="add-person"),
    path("people/<int:person>/", people.one, name="person"),
    path("people/<int:person>/role/", people.add_role, name="add-role"),
    path("people/<int:person>/role/end/", people.end_role, name="end-role"),
    path("people/<int:person>/sign-in/", people.sign_in, name="give-sign-in"),
    path("people/<int:person>/left/", people.left, name="left"),
    path("people/<int:person>/back/", people.came_back, name="came-back"),
    path("people/<int:person>/merge/", merging.merge, name="merge-person"),
    path("people/names/", personal_records.names, name="names"),
    path("people/<int:person>/export/", personal_records.export, name="export-person"),
    path("people/<int:person>/erase/", personal_records.erase, name="erase-person"),
    path("people/<int:person>/tag/", people.make_tag, name="make-tag"),
    path("rooms/", rooms.every, name="rooms"),
    path("rooms/<slug:room>/", rooms.one, name="room"),
    path("rooms/<slug:room>/shelves/", rooms.add_shelf, name="add-shelf"),
    path("rooms/<slug:room>/sign-out-sheet/", papers.sign_out_sheet, name="sign-out-sheet"),
    path("shelves/<int:shelf>/", rooms.shelf, name="shelf"),
    path("tokens/", tokens.every, name="tokens"),
    path("tokens/<int:token>/end/", tokens.revoke, name="revoke-token"),
    path("labels/", printing.choose, name="labels"),
    path("labels/print/", printing.sheet, name="print-labels"),
    path("labels/print/picture/", printing.picture, name="labels-picture"),
    path("labels/print/pdf/", printing.pdf, name="labels-pdf"),
    path("labels/printer/", papers.printer, name="printer"),
    path("labels/sheets/", own_sheets.own, name="own-sheets"),
    path("labels/sheets/remove/", own_sheets.remove, name="remove-sheet"),
    path("labels/printer/test-page/", papers.test_page, name="test-page"),
    path("labels/<str:code>/", printing.one, name="one-label"),
    path("labels/<str:code>/bind/", binding.bind, name="bind-label"),
    path("labels/<str:code>/picture/", printing.label_picture, name="label-picture"),
    path("labels/<str:code>/cancel/", printing.cancel, name="cancel-label"),
    path("kits/<str:kit>/tag/", papers.kit_tag, name="kit-tag"),
    path("kits/<str:kit>/card/", papers.lid_card, name="lid-card"),
    path("settings/", settings.overview, name="settings"),
    path("devices/", devices.every, name="devices"),
    path("devices/<int:device>/end/", devices.end, name="end-device"),
    path("hatch/", shared_device.who, name="hatch-who"),
    path("hatch/pin/", shared_device.pin, name="hatch-pin"),
    path("hatch/lock/", shared_device.lock, name="hatch-lock"),
    path("hatch/end/", shared_device.end, name="hatch-end"),
    path("signed-in/", sign_ins.every, name="signed-in"),
    path("signed-in/<int:signed_in>/end/", sign_ins.end, name="end-sign-in"),
    path("signed-in/others/end/", sign_ins.end_others, name="end-other-sign-ins"),
    path("signed-in/password/", sign_ins.password, name="change-password"),
    path("signed-in/pin/", sign_ins.pin, name="choose-pin"),
    path("sign-in/forgotten/", sign_ins.forgotten, name="forgotten"),
    path("sign-in/new/<str:uid>/<str:token>/", sign_ins.new_password, name="new-password"),
    path("kits/<str:kit>/keeping/", kit_settings.keep, name="keep-kit"),
]
