"""One first visit of the live page by a slow phone: what it weighed, file by file, and when it could be used."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from urllib.parse import urlsplit

from playwright.sync_api import Browser, CDPSession

SIZE = {"width": 390, "height": 844}
SLOW = {"offline": False, "latency": 150, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 750e3 / 8}
SLOWER_TIMES = 4
WATCH = """window.shifted = 0;
  new PerformanceObserver((l) => l.getEntries().forEach((e) => { shifted += e.hadRecentInput ? 0 : e.value; }))
    .observe({type: 'layout-shift', buffered: true});
  new MutationObserver(() => {
    if (document.querySelector('#units .unitrow')) window.wiredAt ??= performance.now();
    if (document.documentElement?.dataset.live) window.liveAt ??= performance.now();
  }).observe(document, {subtree: true, childList: true, characterData: true, attributes: true});"""
TOLD = """[performance.getEntriesByName('first-contentful-paint')[0].startTime,
  window.wiredAt, window.liveAt, window.shifted]"""


@dataclass(frozen=True)
class Visit:
    """Bytes over the wire by name, as packed; ms from the first request to the first paint, to the moment all buttons
    answer, to live figures; layout shift."""

    packed: dict[str, float]
    painted_ms: float
    wired_ms: float
    live_ms: float
    shifted: float

    @property
    def kb(self) -> float:
        return sum(self.packed.values()) / 1000


def visited(browser: Browser, url: str) -> Visit:
    """A visit with nothing kept from before, the processor slowed four times, 150 ms and 1.6 Mbit/s."""
    context = browser.new_context(viewport=SIZE, device_scale_factor=2, is_mobile=True, has_touch=True)
    page = context.new_page()
    devtools = context.new_cdp_session(page)
    packed = _weighed(devtools)
    devtools.send("Network.emulateNetworkConditions", SLOW)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER_TIMES})
    page.add_init_script(WATCH)
    page.goto(url)
    page.wait_for_selector("html[data-live=yes]")
    page.wait_for_timeout(1500)
    visit = Visit(packed, *page.evaluate(TOLD))
    context.close()
    return visit


def _weighed(devtools: CDPSession) -> dict[str, float]:
    """Bytes over the wire by file, filled in as they come; the feed, which never ends, counts for nothing."""
    devtools.send("Network.enable")
    names, packed = {}, {}
    devtools.on("Network.requestWillBeSent", lambda e: names.update({e["requestId"]: e["request"]["url"]}))

    def finished(event: dict) -> None:
        path = urlsplit(names[event["requestId"]]).path
        name = "the page itself" if path == "/" else path if path.startswith("/api/") else path.rpartition("/")[2]
        packed[name] = packed.get(name, 0.0) + event["encodedDataLength"]

    devtools.on("Network.loadingFinished", finished)
    return packed


def table(visits: list[Visit]) -> list[str]:
    """The weight of each file and in all, and the medians of the times."""
    rows = [f"{name}: {size / 1000:.1f} kB" for name, size in sorted(visits[0].packed.items(), key=lambda x: -x[1])]

    def middle(name: str) -> float:
        return median(getattr(visit, name) for visit in visits)

    return [
        *rows,
        f"first visit, everything packed: {middle('kb'):.1f} kB (at most 90)",
        f"on a slow phone, median of {len(visits)}: first paint {middle('painted_ms'):.0f} ms, buttons answer "
        f"{middle('wired_ms'):.0f} ms, live figures {middle('live_ms'):.0f} ms (at most 1500)",
        f"layout shift {max(visit.shifted for visit in visits):.3f} (none)",
    ]
