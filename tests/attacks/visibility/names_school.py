"""The small school with somebody whose name, telephone and address everybody writes down."""

import uuid
from typing import Any

from django.db import connection

from gearroom.core.models import Person, User
from gearroom.core.rules.roles import Role
from tests.kits import factories as make
from tests.present import present

NAME, PHONE, EMAIL = "Jo Brown", "01632 960 017", "jo.brown@example.org"
TELLS = ("Brown", "960 017", "jo.brown")


class School:
    """The small school, with Jo Brown who guides there, and an administrator of every room."""

    def __init__(self) -> None:
        self.w = make.world()
        self.jo = make.person("Jo", Role.GUIDE, self.w.store)
        Person.objects.filter(pk=self.jo.pk).update(name=NAME, phone=PHONE, email=EMAIL)
        User.objects.filter(pk=present(self.jo.user_id)).update(username="jo.brown")
        self.jo.refresh_from_db()
        self.admin = make.person("Ana", Role.ADMINISTRATOR)
        self.keeper = make.caller(self.w.keeper)

    def busy_day(self) -> dict[str, tuple[str, str, Any, Any]]:
        """Jo takes a kit, somebody else wants it, everybody writes their name; what was sent and
        answered under which key."""
        jo = str(self.jo.pk)
        note = f"Gave it to {NAME.upper()}, ring 01632-960017 or {EMAIL}"
        sent = [
            ("kits/DAY-01/check-out/", {"person": jo, "reason": note}),
            ("kits/DAY-01/check-out/", {"person": str(self.w.guide.pk)}),  # 409: Jo has it
            ("kits/DAY-01/withhold/", {"kind": "something-wrong", "note": note}),
            ("kits/DAY-01/needed/", {"needed": [{"words": f"what {NAME} wanted"}]}),
            ("kits/DAY-01/check-in/", {"as_found": "sort-later", "reason": note}),
            ("scans/", {"text": f"{NAME} {PHONE}", "intent": "identify"}),
        ]
        done = {}
        for path, body in sent:
            key = str(uuid.uuid4())
            answer = self.keeper.post(path, body, idempotency_key=key)
            done[key] = ("POST", path, body, answer)
        key, body = str(uuid.uuid4()), {"phone": PHONE, "reason": note}
        answer = self.keeper.patch(f"people/{jo}/", body, idempotency_key=key)
        done[key] = ("PATCH", f"people/{jo}/", body, answer)
        return done


def table(model: Any) -> str:
    """All that a table has, as the database has it."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {connection.ops.quote_name(model._meta.db_table)}")
        rows = cursor.fetchall()
    return "\n".join(_text(value) for row in rows for value in row)


def _text(value: Any) -> str:
    return bytes(value).decode(errors="replace") if isinstance(value, memoryview) else str(value)


def telling(models: Any, *words: str) -> list[str]:
    """The tables that tell of Jo."""
    return [
        model._meta.db_table
        for model in models
        if any(each.casefold() in table(model).casefold() for each in words or (*TELLS, "960017"))
    ]
