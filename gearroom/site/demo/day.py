"""The day itself: a kit goes out on a scan, comes back on a scan, and the shelf knows.

Each step calls the API like any other program and says what came of it in a line or two. What a
step learns it keeps in `facts`, so that a test can look at what was done and not at what was said.
"""

import json
import urllib.error
import urllib.request
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from gearroom.site.demo.photograph import photograph

KIT = "GROUP-01"
OUT_MEANWHILE = "DAY-01"
GAUZE = "gauze swab 10 × 10 cm"
BLISTER = "blister dressing"
BLANKET = "foil blanket"
RECALLED, HOLDS_IT = "rehydration salts", "EXPED-01"


class CallFailed(Exception):
    """An answer that was not wanted."""

    def __init__(self, method: str, path: str, status: int, problem: Any) -> None:
        detail = problem.get("detail", problem) if isinstance(problem, dict) else problem
        super().__init__(f"{method} {path} answered {status}: {detail}")


class Api:
    """Calls below /api/v1/ at an address. Answers are parsed JSON, or bytes of a file."""

    def __init__(self, address: str, token: str) -> None:
        self.address = address
        self.token = token

    def get(self, path: str) -> Any:
        """Read."""
        return self._call("GET", path, None, "")

    def post(self, path: str, body: dict[str, Any] | None = None) -> Any:
        """Write, once, under a new key."""
        return self._call("POST", path, json.dumps(body or {}).encode(), "application/json")

    def post_picture(self, path: str, jpeg: bytes, **fields: Any) -> Any:
        """Write with a picture, as multipart/form-data (RFC 7578)."""
        boundary = uuid.uuid4().hex
        sentence = 'Content-Disposition: form-data; name="{}"'
        parts = [(sentence.format(name), str(value).encode()) for name, value in fields.items()]
        file = sentence.format("image") + '; filename="photo.jpg"\r\nContent-Type: image/jpeg'
        body = b"".join(
            f"--{boundary}\r\n{head}\r\n\r\n".encode() + content + b"\r\n"
            for head, content in [*parts, (file, jpeg)]
        )
        body += f"--{boundary}--\r\n".encode()
        return self._call("POST", path, body, f"multipart/form-data; boundary={boundary}")

    def _call(self, method: str, path: str, body: bytes | None, kind: str) -> Any:
        headers = {"Authorization": f"Bearer {self.token}"}
        if body is not None:
            headers |= {"Content-Type": kind, "Idempotency-Key": str(uuid.uuid4())}
        request = urllib.request.Request(
            f"{self.address}/api/v1/{path}", data=body, headers=headers, method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                content = answer.read()
                kind = answer.headers.get_content_type()
        except urllib.error.HTTPError as error:
            content = error.read()
            problem = json.loads(content) if b"{" in content[:1] else content.decode()
            raise CallFailed(method, path, error.code, problem) from error
        return json.loads(content) if kind == "application/json" else content


@dataclass
class Day:
    """One day through the API at `api`; printed sheets and photographs go to `folder`."""

    api: Api
    folder: Path
    say: Callable[[str], None]
    send_weekly: Callable[[], list[str]]
    facts: dict[str, Any] = field(default_factory=dict)

    def play(self) -> dict[str, Any]:
        """All seven steps; what they learned."""
        self.folder.mkdir(parents=True, exist_ok=True)
        for number, step in enumerate(
            (
                self.print_labels,
                self.take_out,
                self.hand_back,
                self.list_restock,
                self.restock_and_seal,
                self.recall,
                self.weekly_email,
            ),
            start=1,
        ):
            title = (step.__doc__ or "").split("\n")[0].rstrip(".")
            self.say(f"\n{number}. {title}")
            step()
        return self.facts

    # ----------------------------------------------------------------------------- the steps
    def print_labels(self) -> None:
        """Labels for a kit and a batch, printed and read back."""
        gauze = self._named(f"kits/{KIT}/contents/", GAUZE, "lines")
        made = self.api.post(
            "labels/", {"on": [{"kit": KIT}, {"lot": str(gauze["lot"])}], "room": "main-store"}
        )["labels"]
        kit_code, lot_code = (label["code"] for label in made)
        self._keep("labels.pdf", self.api.post("labels/sheets/", {"labels": [kit_code, lot_code]}))
        for name, code in (("kit-label.png", kit_code), ("batch-label.png", lot_code)):
            self._keep(name, self.api.get(f"labels/{code}/image/?dpi=300"))
        self.facts |= {"kit_code": kit_code, "lot_code": lot_code, "gauze": gauze}
        self._tell(f"{KIT} is {kit_code}; {GAUZE}, batch {gauze['number']}, is {lot_code}")

    def take_out(self) -> None:
        """A photograph of the kit's label takes it out to its trip."""
        outcome = self._scan("kit-label.png", "kit-out.jpg", 3, intent="check-out")
        kit = outcome["kit"]
        self.facts["taken"] = outcome
        self._tell(
            f"read “{outcome['read']['text']}” (reading step: {outcome['read']['rung']})",
            f"{kit['has_it']} takes {kit['name']} for {kit['trip_name']}, due back "
            f"{kit['due_at'][:16].replace('T', ' ')}",
            f"through {kit['through']}: {kit['verdict_text']}",
            *(f"- {reason['text']}" for reason in kit["reasons"]),
        )
        guide = self._named("people/?page_size=200", "Tam Brackley")
        tag = self._label({"person": str(guide["id"])})
        both = self.api.post(
            "scans/",
            {"texts": [tag, self._label({"kit": OUT_MEANWHILE})], "intent": "check-out"},
        )
        self.facts["two_scans"] = both
        self._tell(f"two scans, a guide's tag and a kit: {both['outcomes'][-1]['says']}")

    def hand_back(self) -> None:
        """The same label hands it back: opened, three items used."""
        batch = self._scan("batch-label.png", "batch.jpg", 5, intent="identify")
        used = [
            {"label": batch["read"]["text"], "units": 4},
            {"item": self._item(BLISTER), "units": 2},
            {"item": self._item(BLANKET), "units": 1},
        ]
        outcome = self._scan(
            "kit-label.png",
            "kit-back.jpg",
            4,
            intent="check-in",
            as_found="opened",
            used=json.dumps(used),
        )
        used_now = self.api.get(f"movements/?kit={KIT}&kind=use&page_size=10")["results"]
        newest = max(row["entry"] for row in used_now)
        lines = [row for row in used_now if row["entry"] == newest and row["to_kind"] == "used"]
        self.facts |= {"back": outcome, "used": lines}
        self._tell(
            outcome["says"],
            *(
                f"- {row['units']} {row['name']}, batch {row['number'] or 'without a number'}"
                + (" (batch assumed: the oldest)" if row["lot_assumed"] else " (scanned)")
                for row in lines
            ),
        )

    def list_restock(self) -> None:
        """What to put in, from which batch on which shelf."""
        listed = self.api.get(f"kits/{KIT}/restock/")
        self.facts["listed"] = listed
        self._tell(
            f"ready through {listed['through']}:",
            *(
                f"- {row['units']} {row['name']}, batch {row['number'] or 'without a number'}, "
                f"shelf {row['shelf_name']}"
                + (f", good until {row['good_until']}" if row["good_until"] else "")
                + (f" (instead of {row['instead_of']})" if row["instead_of"] else "")
                for row in listed["put_in"]
            ),
            *(f"- fill up: {row['name']}" for row in listed["fill_up"]),
            *(f"- not in stock: {row['units']} {row['name']}" for row in listed["missing"]),
        )

    def restock_and_seal(self) -> None:
        """All put in as listed but one thing, sealed, and tagged with the first expiry."""
        listed = self.facts["listed"]
        row = max(listed["put_in"], key=lambda row: row["units"])
        less = {"lot": str(row["lot"]), "shelf": str(row["shelf"]), "units": row["units"] - 1}
        exception = {"item": row["item"], "section": row["section"]}
        if row["units"] > 1:
            exception["instead"] = [less]
        done = self.api.post(f"kits/{KIT}/restock/", {"exceptions": [exception]})
        sealed = self.api.post(f"kits/{KIT}/reseal/", {"seal": listed["next_seal"], "anyway": True})
        self._keep("kit-tag.pdf", self.api.get(f"kits/{KIT}/tag/"))
        self.facts |= {"restocked": done, "sealed": sealed, "exception": row}
        self._tell(
            f"{done['units_put_in']} units in, {done['units_taken_out']} out; one "
            f"{row['name']} fewer than listed",
            f"sealed anyway: {sealed['verdict']['verdict_text']}",
            f"seal {sealed['seal']}; first expiry {sealed['first_expiry']}",
        )

    def recall(self) -> None:
        """The maker recalls a batch: who has it, taken out, sent back, finished."""
        batch = self._named(f"kits/{HOLDS_IT}/contents/", RECALLED, "lines")
        recall = self.api.post(
            "recalls/",
            {
                "item": batch["item"],
                "number": batch["number"],
                "reference": "FSN-0042",
                "advice": "Take it out and send it back; the maker found damp sachets.",
            },
        )
        quarantined = sum(row["units"] for row in recall["quarantine"])
        self._tell(
            f"{RECALLED}, batch {batch['number']}: {quarantined} units went from shelves to "
            "quarantine"
        )
        stands = recall
        for row in recall["places"]:
            if not row["place"]["kit"]:
                continue
            who = row["person"]["name"] if row["person"] else "nobody"
            confirmed = "certain" if row["certainty"] == "certain" else "possible"
            self._tell(
                f"- {confirmed}: {row['place']['kit']}, {who} has it or answers for it: taken out"
            )
            stands = self.api.post(
                f"recalls/{recall['id']}/answer/",
                {"row": row["row"], "answer": "taken-out", "removed": row["booked"]},
            )
        for held in stands["quarantine"]:
            self.api.post(
                "stock/dispose/",
                {
                    "lot": str(recall["lots"][0]["id"]),
                    "place": str(held["place"]["id"]),
                    "units": held["units"],
                    "disposal": "returned",
                },
            )
            self._tell(f"- {held['units']} units sent back to the maker")
        self.facts["recall"] = self.api.post(
            f"recalls/{recall['id']}/close/", {"outcome": "finished"}
        )
        self._tell("finished: the batch stays blocked, and goes to quarantine if it ever arrives")

    def weekly_email(self) -> None:
        """The responsible instructor's weekly email."""
        written = self.send_weekly()
        self.facts["emails"] = written
        self._tell(*(f"- {name}" for name in written))

    # ------------------------------------------------------------------------------- parts
    def _tell(self, *lines: str) -> None:
        for line in lines:
            self.say(f"   {line}")

    def _keep(self, name: str, content: bytes) -> None:
        (self.folder / name).write_bytes(content)
        self._tell(f"{self.folder / name}")

    def _scan(self, label: str, name: str, seed: int, **fields: Any) -> Any:
        """Photograph a printed label and post the picture; what came of it."""
        jpeg = photograph((self.folder / label).read_bytes(), seed=seed)
        self._keep(name, jpeg)
        return self.api.post_picture("scans/", jpeg, room="main-store", **fields)["outcomes"][0]

    def _label(self, on: dict[str, Any]) -> str:
        made = self.api.post("labels/", {"on": [on], "room": "main-store"})["labels"]
        return str(made[0]["code"])

    def _item(self, name: str) -> int:
        return int(self._named(f"items/?search={quote(name)}", name)["id"])

    def _named(self, path: str, name: str, rows: str = "results") -> Any:
        """The row of that name, of those that an address answers with."""
        return next(row for row in self.api.get(path)[rows] if row["name"] == name)
