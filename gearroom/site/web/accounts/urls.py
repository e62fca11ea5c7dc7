"""The addresses of signing in, shared devices and tokens."""

from django.urls import URLPattern, path

from gearroom.site.web.accounts import shared_devices, sign_ins, tokens

urlpatterns: list[URLPattern] = [
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
]
