"""The addresses of the pages, by subject."""

from django.urls import URLPattern, path, re_path

from gearroom.site.web.accounts import shared_devices, sign_ins, tokens
from gearroom.site.web.advice import access as advice_access, by_link, sending
from gearroom.site.web.custody import hand_back, links
from gearroom.site.web.kits import count, kit_settings, kits, record
from gearroom.site.web.labelling import papers, printing
from gearroom.site.web.lists import draft_editing, not_carried, packing_lists, signatures
from gearroom.site.web.notices import notices
from gearroom.site.web.overview import board, first_day, phone_copy
from gearroom.site.web.page import help as help_pages, settings
from gearroom.site.web.people import people, personal_records, rooms
from gearroom.site.web.planning import hazards, past_use, plans, rates, replays, vocabulary
from gearroom.site.web.recalls import recalls
from gearroom.site.web.restocking import emptying, sorting, stripping
from gearroom.site.web.scan import labels, pictures, recent, scan
from gearroom.site.web.stock import counting, item_editing, moving, receiving, stock
from gearroom.site.web.trips import trips

_VERSION = "lists/<int:id>/<int:number>/"

urlpatterns: list[URLPattern] = [
    # signing in, shared devices and tokens
    path("sign-in/", sign_ins.sign_in, name="sign-in"),
    path("sign-out/", sign_ins.sign_out, name="sign-out"),
    path("room/", sign_ins.choose_room, name="choose-room"),
    path("tokens/", tokens.own_tokens, name="tokens"),
    path("tokens/<int:token>/end/", tokens.revoke, name="revoke-token"),
    path("devices/", shared_devices.shared, name="devices"),
    path("devices/<int:device>/end/", shared_devices.end_device, name="end-device"),
    path("hatch/", shared_devices.who, name="hatch-who"),
    path("hatch/pin/", shared_devices.pin, name="hatch-pin"),
    path("hatch/lock/", shared_devices.lock, name="hatch-lock"),
    path("hatch/end/", shared_devices.end, name="hatch-end"),
    path("signed-in/", sign_ins.own_browsers, name="signed-in"),
    path("signed-in/<int:signed_in>/end/", sign_ins.end, name="end-sign-in"),
    path("signed-in/others/end/", sign_ins.end_others, name="end-other-sign-ins"),
    path("signed-in/password/", sign_ins.password, name="change-password"),
    path("signed-in/pin/", sign_ins.pin, name="choose-pin"),
    path("sign-in/forgotten/", sign_ins.forgotten, name="forgotten"),
    path("sign-in/new/<str:uid>/<str:token>/", sign_ins.new_password, name="new-password"),
    # taking out, handing back, and what is asked of whoever had a kit
    path("kits/<str:kit>/hand-back/", hand_back.hand_back, name="hand-back"),
    path("kits/<str:kit>/used/", hand_back.log_use, name="used-from"),
    path("kits/<str:kit>/due/", hand_back.set_due, name="set-due"),
    path("kits/<str:kit>/ask/", links.request_use, name="ask"),
    path("clearances/", links.list_clearances, name="clearances"),
    path("cleared/<str:link>/", links.answer_by_link, name="cleared"),
    path("away/", hand_back.list_away, name="away"),
    path("kits/<str:kit>/not-ours/", hand_back.report_participants_own, name="not-ours"),
    path("ask/", links.request_all_use, name="ask-all"),
    path("used/<str:link>/", links.report_use, name="used"),
    path("used/<str:link>/<int:time>/", links.report_use, name="used-of"),
    path("trips/<int:trip>/extend/", hand_back.extend, name="trip-extend"),
    # kits
    path("kits/", kits.list_kits, name="kits"),
    path("kits/<str:kit>/", kits.show_kit, name="kit"),
    path("kits/<str:kit>/as-of/", record.as_of, name="kit-as-of"),
    path("kits/<str:kit>/history/", record.list_acts, name="kit-history"),
    path("kits/<str:kit>/count/", count.count, name="kit-count"),
    path("kits/<str:kit>/check/", kits.check_instrument, name="check-instrument"),
    path("kits/<str:kit>/pass/", kits.pass_on, name="pass-on"),
    path("kits/<str:kit>/withhold/", kits.withhold, name="withhold"),
    path("kits/<str:kit>/release/", kits.release, name="release"),
    path("kits/<str:kit>/take-out/", kits.remove_expired, name="take-out"),
    path("kits/<str:kit>/keeping/", kit_settings.change_settings, name="keep-kit"),
    # labels and other printed papers
    path("rooms/<slug:room>/sign-out-sheet/", papers.sign_out_sheet, name="sign-out-sheet"),
    path("labels/", printing.choose, name="labels"),
    path("labels/print/", printing.sheet, name="print-labels"),
    path("labels/print/picture/", printing.picture, name="labels-picture"),
    path("labels/print/pdf/", printing.pdf, name="labels-pdf"),
    path("labels/printer/", papers.printer, name="printer"),
    path("labels/sheets/", papers.own_sheets, name="own-sheets"),
    path("labels/sheets/remove/", papers.remove_sheet, name="remove-sheet"),
    path("labels/printer/test-page/", papers.test_page, name="test-page"),
    path("labels/<str:code>/", printing.label, name="one-label"),
    path("labels/<str:code>/picture/", printing.label_picture, name="label-picture"),
    path("labels/<str:code>/cancel/", printing.cancel, name="cancel-label"),
    path("kits/<str:kit>/tag/", papers.kit_tag, name="kit-tag"),
    path("kits/<str:kit>/card/", papers.lid_card, name="lid-card"),
    # kit lists
    path("sign/<str:signature>/", signatures.by_link, name="extend-signature"),
    path("lists/", packing_lists.all_lists, name="lists"),
    path("lists/<int:id>/", packing_lists.newest, name="list"),
    path(_VERSION, packing_lists.version, name="list-version"),
    path(f"{_VERSION}new-draft/", packing_lists.new_draft, name="list-new-draft"),
    path(f"{_VERSION}publish/", packing_lists.publish, name="list-publish"),
    path(f"{_VERSION}sign/", packing_lists.sign, name="list-sign"),
    path(f"{_VERSION}compare/", packing_lists.compare, name="list-compare"),
    path(f"{_VERSION}effect/", packing_lists.effect, name="list-effect"),
    path(f"{_VERSION}follow/", packing_lists.follow, name="list-follow"),
    path(f"{_VERSION}edit/", draft_editing.edit, name="list-edit"),
    path(f"{_VERSION}not-carried/", not_carried.edit, name="list-not-carried"),
    path(f"{_VERSION}sections/<slug:key>/", draft_editing.section, name="list-section"),
    path(f"{_VERSION}sections/<slug:key>/instead/", draft_editing.instead, name="list-instead"),
    # notifications
    path("notices/", notices.log, name="notices"),
    path("notices/weekly/", notices.next_weekly, name="weekly"),
    path("notices/settings/", notices.settings, name="notice-settings"),
    path("notices/calendar/", notices.new_calendar, name="new-calendar"),
    path("notices/calendar/end/", notices.end_calendar, name="end-calendar"),
    path("notices/<int:notice>/", notices.notice, name="notice"),
    path("notices/<int:notice>/again/", notices.send_again, name="notice-again"),
    # the board, the first day, and the phone without a network
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
    # help and settings
    path("settings/", settings.overview, name="settings"),
    path("help/", help_pages.help_for, name="help"),
    path("help/<slug:role>/", help_pages.help_for, name="help-for"),
    # advice for trips of others
    path("settings/advice/", advice_access.set_up, name="advice-access"),
    path("trip-advice/<str:link>/", by_link.answer, name="trip-advice"),
    path("advice/", sending.all_advice, name="advice"),
    path("advice/new/", sending.new_link, name="new-advice"),
    path("advice/<int:id>/", sending.one, name="one-advice"),
    path("advice/<int:id>/send/", sending.send, name="send-advice"),
    path("advice/<int:id>/withdraw/", sending.withdraw, name="withdraw-advice"),
    path("advice/<int:id>/copies/<int:number>/", sending.copy, name="advice-copy"),
    # people and rooms
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
    # what lists come to, and what that rests on
    path(f"{_VERSION}plan/", plans.of_version, name="list-plan"),
    path(f"{_VERSION}costs/", plans.costs_of_version, name="list-costs"),
    path(f"{_VERSION}replay/", replays.replay, name="list-replay"),
    path("kits/<str:kit>/plan/", plans.of_kit, name="kit-plan"),
    path("kits/<str:kit>/costs/", plans.costs_of_kit, name="kit-costs"),
    path("needs/", vocabulary.words, name="needs"),
    path("needs/hazards/", hazards.asks, name="hazard-needs"),
    path("stock/<int:item>/serves/", vocabulary.serves, name="serves"),
    path("past-use/", past_use.past_use, name="past-use"),
    path("back-test/", past_use.back_test, name="back-test"),
    path("rates/", rates.all_rates, name="rates"),
    path("rates/<slug:need>/", rates.one_need, name="rate"),
    # recalls
    path("stock/recalls/", recalls.all_recalls, name="recalls"),
    path("stock/recalls/<int:recall>/", recalls.recall, name="recall"),
    path("stock/recalls/<int:recall>/answer/", recalls.answer, name="recall-answer"),
    path("stock/recalls/<int:recall>/told/", recalls.mark_notified, name="recall-notified"),
    path("stock/recalls/<int:recall>/close/", recalls.close, name="recall-close"),
    path("stock/recalls/<int:recall>/reopen/", recalls.reopen, name="recall-reopen"),
    path("stock/recalls/<int:recall>/put-back/", recalls.put_back, name="recall-put-back"),
    # sorting, breaking down and emptying kits
    path("kits/<str:kit>/sort/", sorting.sort, name="sort"),
    path("kits/<str:kit>/seal/", sorting.reseal, name="reseal"),
    path("strip/", stripping.start, name="strip"),
    path("kits/<str:kit>/strip/", stripping.strip, name="strip-kit"),
    path("kits/<str:kit>/empty/", emptying.empty, name="empty-kit"),
    path("kits/<str:kit>/strip/new/", stripping.new_item, name="strip-new"),
    # scanning and what follows from it
    path("scan/", scan.scan, name="scan"),
    re_path(r"^[Ll]/(?P<code>[^/]{1,40})/?$", labels.label, name="label"),
    path("undo/<int:entry>/", recent.undo, name="undo"),
    path("undo/<int:entry>/really/", recent.correct_kit, name="really"),
    path("kits/<str:kit>/photos/<int:number>/", pictures.photo, name="photo"),
    path("labels/<str:code>/bind/", labels.bind_label, name="bind-label"),
    # stock
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
    # trips
    path("trips/", trips.list_trips, name="trips"),
    path("trips/calendar/", trips.month, name="trips-month"),
    path("trips/add/", trips.add, name="trip-add"),
    path("trips/<int:trip>/", trips.show_trip, name="trip"),
    path("trips/<int:trip>/reserve/", trips.reserve, name="trip-reserve"),
    path("trips/<int:trip>/release/", trips.release, name="trip-release"),
    path("trips/<int:trip>/edit/", trips.edit, name="trip-edit"),
]
