"""axe-core, from the npm registry, finds nothing serious on any page in either theme (WCAG 2.2 A and AA rules)."""

from __future__ import annotations

import subprocess
import tarfile
import tempfile
from pathlib import Path

import pytest
from fake_port import alert, filling

AXE = "axe-core@4.10.3"
CACHE = Path(tempfile.gettempdir()) / "tarebook-test-npm"
PAGES = ["", "sessions", "sessions/s-0", "sessions/s-0/replay", "review", "containers", "containers/R-7", "cart"]
PAGES += ["pair", "nowhere"]
RUN = """async () => (await axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}))
    .violations.filter(v => ['serious', 'critical'].includes(v.impact))
    .map(v => v.id + ': ' + v.nodes.map(n => n.target + ' ' + n.any.map(a => a.message)).slice(0, 3).join(' | '))"""


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe.min.js."""
    packed = CACHE / "axe-core-4.10.3.tgz"
    if not packed.exists():
        CACHE.mkdir(exist_ok=True)
        try:
            command = ["npm", "pack", AXE, "--silent", "--pack-destination", str(CACHE)]
            subprocess.run(command, check=True, capture_output=True, timeout=60)
        except (OSError, subprocess.SubprocessError) as error:
            pytest.skip(f"{AXE} cannot be fetched from the npm registry: {error}")
    with tarfile.open(packed) as archive:
        return archive.extractfile("package/axe.min.js").read().decode()


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_no_serious_finding(chromium, server, port, axe, theme):
    port.shown = filling(
        alerts=[alert(1, "over-placard", "danger", "Over."), alert(2, "sensor-stale", "caution", "Old.")]
    )
    port.shown["channels"]["low_side"].update(quality="stale", age_s=14.0)
    context = chromium.new_context(viewport={"width": 390, "height": 844}, color_scheme=theme, bypass_csp=True)
    context.add_cookies([cookie_of(port, server)])
    page = context.new_page()
    found = {}
    for path in PAGES:
        page.goto(server.url + path)
        if path in ("", "sessions/s-0/replay"):
            page.wait_for_selector("html[data-live=yes]")
        page.evaluate(axe)
        if violations := page.evaluate(RUN):
            found[path or "/"] = violations
    context.close()
    assert found == {}


def cookie_of(port, server) -> dict:
    token = port.pairing.exchange(port.pairing.code())
    return {"name": "tarebook_pairing", "value": token, "url": server.url}
