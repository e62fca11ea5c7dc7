"""The examples of README.md that call the API, run in bash as they stand there."""

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.program import PROJECT

ADDRESS, TOKEN = "http://127.0.0.1:8000", "gr_…"
"""What stands in README for what the demo prints."""

# A function around curl, so that every line of README stays as it is: after each answer its status.
CURL = r"""
set -euo pipefail
curl() {
  command curl --silent --show-error --write-out '\n<%{http_code} %{method} %{url}>\n' "$@"
}
"""


@dataclass(frozen=True)
class Called:
    """One call of an example, with its answer."""

    status: int
    method: str
    path: str
    body: str


def examples() -> list[str]:
    """Every block of README's that calls the API, or that such a block needs."""
    text = (PROJECT / "README.md").read_text()
    blocks = re.findall(r"^```sh\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    return [block for block in blocks if re.search(r"\bcurl\b|^URL=|send_digests", block, re.M)]


def run(address: str, token: str, env: dict[str, str], folder: Path) -> list[Called]:
    """Run them all, one after the other, beside the data folder of a served demo."""
    for name, target in {
        ".venv": Path(sys.prefix),
        "manage.py": PROJECT / "manage.py",
        "var": Path(env["GEARROOM_DATA_DIR"]),
    }.items():
        (folder / name).symlink_to(target)
    script = "".join(examples())
    assert script.count(ADDRESS) == script.count(TOKEN) == 1
    result = subprocess.run(
        ["bash", "-c", CURL + script.replace(ADDRESS, address).replace(TOKEN, token)],
        cwd=folder,
        env=env,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert result.returncode == 0, result.stdout + result.stderr
    answer = re.compile(rf"(.*?)\n<(\d+) (\w+) {re.escape(address)}/api/v1/(\S+)>\n", re.DOTALL)
    return [
        Called(int(status), method, path, body.rpartition("\n")[2])
        for body, status, method, path in answer.findall(result.stdout)
    ]
