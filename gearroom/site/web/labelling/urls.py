"""The addresses of labels and other printed papers."""

from django.urls import URLPattern, path

from gearroom.site.web.labelling import papers, printing

urlpatterns: list[URLPattern] = [
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
]
