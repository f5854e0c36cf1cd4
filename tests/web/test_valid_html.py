"""html-validate, from the npm registry, takes every page as valid HTML (the WHATWG HTML standard)."""

from __future__ import annotations

import json
import subprocess
import tempfile
from pathlib import Path

import pytest
from fake_port import alert, filling

TOOL = "html-validate@10.17.0"
CACHE = Path(tempfile.gettempdir()) / "tarebook-test-html-validate"
PAGES = ["/", "/sessions", "/sessions/s-0", "/sessions/s-1", "/sessions/s-0/replay", "/review", "/containers", "/cart"]
PAGES += ["/containers/R-7", "/containers/C-12", "/pair", "/nowhere"]


@pytest.fixture(scope="module")
def validator() -> Path:
    program = CACHE / "node_modules" / ".bin" / "html-validate"
    if not program.exists():
        command = ["npm", "install", "--silent", "--no-audit", "--no-fund", "--prefix", str(CACHE), TOOL]
        try:
            subprocess.run(command, check=True, capture_output=True, timeout=90)
        except (OSError, subprocess.SubprocessError) as error:
            pytest.skip(f"{TOOL} cannot be fetched from the npm registry: {error}")
    return program


def test_every_page_is_valid(client, port, validator, tmp_path):
    client.post("/api/pair", json={"code": port.pairing.code()}, headers={"Origin": "http://localhost"})
    port.shown = filling(alerts=[alert(1, "over-placard", "danger", "Over.")])
    rules = tmp_path / ".htmlvalidate.json"
    rules.write_text(json.dumps({"root": True, "extends": ["html-validate:standard"]}))
    for number, path in enumerate(PAGES):
        answer = client.get(path, headers={"Accept": "text/html"})
        (tmp_path / f"{number}.html").write_bytes(answer.data)
    command = [str(validator), "--config", str(rules), *map(str, sorted(tmp_path.glob("*.html")))]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stdout
