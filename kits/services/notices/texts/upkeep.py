"""What is said of what an office looks after: orders, signatures and addresses."""

from datetime import date

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import Notice, WebhookStop
from kits.services.notices.facts import AddressRefused, LowStock, SignatureEnds, WebhookStopped
from kits.services.notices.notice_text import NoticeText, page, signature_token
from kits.services.text import wording


def low_stock(notice: Notice) -> NoticeText:
    """What to order for a room."""
    facts: LowStock = notice.facts
    things = facts["things"]
    names = [thing["thing"] for thing in things]
    more = _(" and %(count)d more") % {"count": len(names) - 1} if names[1:] else ""
    line = _("%(thing)s: %(stock)d left, order level %(level)d; delivery takes %(lead_days)d days.")
    room = notice.room.slug if notice.room else ""
    return NoticeText(
        _("%(room)s: stock is down to the order level. Order now.")
        % {"room": notice.room.name if notice.room else ""},
        [line % thing for thing in things],
        subject=_("Order %(thing)s%(more)s") % {"thing": names[0], "more": more},
        page=page(f"/stock/order/?weeks=26&room={room}"),
    )


def signature_ends(notice: Notice) -> NoticeText:
    """Which version's signature ends when, with the link that extends it."""
    facts: SignatureEnds = notice.facts
    until = date.fromisoformat(facts["until"])
    names = {**facts, "day": wording.day(until)}
    text = ngettext(
        "The signature on %(list)s, version %(number)d, expires on %(day)s; %(kits)d kit uses "
        "this version.",
        "The signature on %(list)s, version %(number)d, expires on %(day)s; %(kits)d kits use "
        "this version.",
        facts["kits"],
    )
    return NoticeText(
        text % names,
        [_("Extend it by a year with one tap on the page below, or sign a new version.")],
        subject=_("%(list)s: the signature expires on %(day)s") % names,
        page=page(f"/sign/{signature_token(facts['version'], notice.person_id, until)}/"),
    )


def address_refused(notice: Notice) -> NoticeText:
    """Whose address was refused, and whom to call."""
    facts: AddressRefused = notice.facts
    names = {"name": facts.get("person", ""), "address": "", "said": "", **facts}
    text = _(
        "Email to %(name)s at %(address)s was permanently refused: %(said)s. Correct the "
        "address; until then they will get no email."
    )
    one = f"{facts['person_id']}/" if "person_id" in facts else ""
    return NoticeText(
        text % names,
        [_("Call them: %(phone)s.") % names] if facts.get("phone") else [],
        subject=_("Email to %(name)s was refused") % names,
        page=page(f"/people/{one}"),
    )


WHY_STOPPED = {
    WebhookStop.OFF: _lazy("It is turned off."),
    WebhookStop.PARKED: _lazy("Its server has not accepted anything for three days."),
    WebhookStop.GONE: _lazy("Its server answered that nobody wants events there any more."),
    WebhookStop.NO_RIGHT: _lazy("The person who created it is no longer allowed to have webhooks."),
    WebhookStop.NO_SECRET: _lazy("SECRET_KEY has changed, so it needs a new secret."),
}


def webhook_stopped(notice: Notice) -> NoticeText:
    """Where nothing is sent any more, and what to do."""
    facts: WebhookStopped = notice.facts
    return NoticeText(
        _("Nothing is sent to the webhook “%(name)s” any more.") % facts,
        [
            str(WHY_STOPPED[WebhookStop(facts["why"])]),
            _("Nothing is lost: it gets everything since then, in order, once it is on again."),
        ],
        subject=_("Webhook “%(name)s” has stopped") % facts,
        page=page(f"/webhooks/{facts['webhook']}/"),
    )
