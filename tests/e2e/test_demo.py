"""The demonstration from a clean directory: what it did, whatever it printed."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from labels.reading import read
from tests import keeper
from tests.e2e import readme
from tests.e2e.calls import Phone
from tests.program import PROJECT, environment, manage

pytestmark = pytest.mark.server


class Demo:
    """`manage.py demo` in a group of its own, started until it has told its address."""

    def __init__(self, session: Path, folder: Path) -> None:
        self.folder = folder
        self.env = environment(folder)
        self.port = keeper.free_port()
        self.process = subprocess.Popen(
            [sys.executable, str(PROJECT / "manage.py"), "demo", "--port", str(self.port)],
            env=self.env,
            cwd=PROJECT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=(folder / "demo.log").open("ab"),
            start_new_session=True,
            text=True,
        )
        keeper.ask(session, watch=self.process.pid)
        self.session = session
        assert self.process.stdout is not None
        self.printed = []
        for line in self.process.stdout:
            self.printed.append(line)
            if "not give medical advice" in line:
                break
        else:
            raise AssertionError((folder / "demo.log").read_text() + "".join(self.printed))

    @property
    def kept(self) -> dict[str, Any]:
        """What it keeps for later runs."""
        found: dict[str, Any] = json.loads((self.folder / "demo.json").read_text())
        return found

    def stop(self) -> int:
        """Ctrl-C; its exit code."""
        os.killpg(self.process.pid, signal.SIGINT)
        code = self.process.wait(40)
        keeper.ask(self.session, release=self.process.pid)
        return code


def test_the_day_is_played_through_the_api_and_kept_by_later_runs(
    session_folder: Path, tmp_path: Path
) -> None:
    demo = Demo(session_folder, tmp_path)
    kept, facts = demo.kept, demo.kept["facts"]
    phone = Phone(f"http://127.0.0.1:{demo.port}", kept["token"])

    # 1. what was printed reads back as the codes it was printed for
    for name, code in (("kit-label.png", "kit_code"), ("batch-label.png", "lot_code")):
        (seen,) = read((tmp_path / "demo" / name).read_bytes()).reads
        assert seen.text.endswith("/L/" + facts[code].replace("-", ""))
    assert (tmp_path / "demo" / "labels.pdf").read_bytes().startswith(b"%PDF-")

    # 2. and 3. it went out to the trip's guide and came back, what was used against the trip
    out, back = phone.get("checkouts/?kit=GROUP-01&page_size=1").body["results"][0], facts["used"]
    assert out["trip"]["name"] == "Gorge weekend, Hollow Beck"
    assert out["person"]["name"] == "Ines Quarle"
    assert out["in_at"] is not None
    entry = phone.get(f"entries/{back[0]['entry']}/").body
    assert entry["trip"] == out["trip"]["id"]
    by_thing: dict[str, list[tuple[int, bool]]] = {}
    for row in back:
        by_thing.setdefault(row["name"], []).append((row["units"], row["lot_assumed"]))
    assert by_thing["gauze swab 10 × 10 cm"] == [(4, False)]
    assert sum(units for units, _ in by_thing["blister dressing"]) == 2
    assert all(assumed for _, assumed in by_thing["blister dressing"])

    # 4. and 5. restocked but for the exception, sealed, looked inside, with a tag
    kit = phone.get("kits/GROUP-01/").body
    listed = sum(row["units"] for row in facts["listed"]["put_in"])
    assert facts["restocked"]["units_put_in"] == listed - 1
    assert facts["sealed"]["fit_until"]
    assert kit["seal"] == facts["sealed"]["seal"]

    # 6. the recalled batch was in two kits, was taken out and sent back, and stays blocked
    recall = phone.get(f"recalls/{facts['recall']['id']}/").body
    certain = {row["place"]["kit"] for row in recall["places"] if row["certainty"] == "certain"}
    assert certain - {None} == {"EXPED-01", "EXPED-02"}
    assert (recall["outcome"], recall["quarantine"]) == ("finished", [])
    assert not any(recall["unsettled"].values())
    assert {row["how"] for row in recall["gone"]} == {"returned"}
    assert all(lot["recall"] == recall["id"] for lot in recall["lots"])
    for kit_name in ("EXPED-01", "EXPED-02"):
        reasons = phone.get(f"kits/{kit_name}/readiness/").body["reasons"]
        assert "take-out" not in {reason["code"] for reason in reasons}

    # 7. the weekly email is there, to the responsible instructor
    mails = [path.read_text() for path in (tmp_path / "outbox").glob("*.eml")]
    assert any("jo@umberfell.example" in mail for mail in mails)

    # 8. its past is enough to say what a list comes to
    assert 0 < phone.get("plans/kits/GROUP-01/").body["lacks_something"] < 1

    assert manage("audit", env=demo.env, check=False).returncode == 0
    assert demo.stop() == 0

    # again: it keeps all of it
    again = Demo(session_folder, tmp_path)
    assert again.kept["token"] == kept["token"]
    assert again.kept["passwords"] == kept["passwords"]
    assert again.kept["facts"] == facts
    same = Phone(f"http://127.0.0.1:{again.port}", kept["token"])
    assert same.get("kits/GROUP-01/").body["seal"] == kit["seal"]
    (readme_folder := tmp_path / "readme").mkdir()
    check_what_the_examples_of_readme_do(again, same, readme_folder)
    assert again.stop() == 0

    # and loading alone adds nothing to what is there
    before = (tmp_path / "demo.json").read_text()
    manage("demo", "--load-only", env=demo.env)
    assert (tmp_path / "demo.json").read_text() == before
    assert manage("audit", env=demo.env, check=False).returncode == 0


def check_what_the_examples_of_readme_do(demo: Demo, phone: Phone, folder: Path) -> None:
    """They are run against the demo of the test above, which is expensive to make."""
    calls = readme.run(f"http://127.0.0.1:{demo.port}", demo.kept["token"], demo.env, folder)
    assert len(calls) == sum(block.count("curl ") for block in readme.examples()) >= 10
    assert {call.status for call in calls} <= {200, 201}, calls
    assert "GROUP-01 is for Ines Quarle" in calls[0].body
    assert [json.loads(call.body)["outcomes"][0]["outcome"] for call in calls[1:3]] == [
        "taken-out", "handed-back",
    ]  # fmt: skip
    proposal = next(call.body for call in calls if call.path.endswith("/B-1001/proposal/"))
    assert json.loads(proposal)["suits"], proposal
    trip = phone.get("trips/bookings/B-1001/").body
    kits = phone.get(f"reservations/?trip={trip['id']}").body["results"]
    assert {row["kit"] for row in kits} == {"DAY-02", "DAY-03"}
