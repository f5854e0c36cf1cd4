"""What the review of a whole shop costs: 5,000 kept sessions, beside reading all their findings whole; and what it
costs to know one vehicle again among them.

Run as a program; `report()` gives the lines.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from logger.measure.marks import Mark
from logger.record.gists import session_gists
from logger.record.reader import StoreReader
from logger.record.recording import Recording
from logger.record.session_rows import describe
from logger.record.store import Store
from logger.record.visits import before_session
from logger.record.writes import insert_session
from logger.replay import replay
from logger.session.shop_review import shop_review

SESSIONS = 5000
LAST, TIMES = f"s{SESSIONS - 1}", 20
CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0}}
SETUP = {"cart_id": "cart-1", "refrigerant": "R-134a", "placard": {"low_g": 480, "high_g": 520}}


def findings_of(k: int, template: dict, rng: np.random.Generator) -> dict:
    """A session's findings as large as real ones: a curve of 400 points, a score of events and alerts."""
    delivered = 500.0 + float(rng.normal(0.0, 4.0))
    charge = {"delivered_g": delivered, "target_g": 500.0, "stop_alert_t_s": 300.0, "flow_ended_t_s": 302.0}
    curve = [[10.0 * n, round(20.0 + 5.0 * float(rng.random()), 2)] for n in range(400)]
    alert = {"seq": 1, "t_s": 300.0, "code": "stop-charging", "severity": "notice", "message": "Close the valve now."}
    return template | {
        "session_id": f"s{k}",
        "charge": template["charge"] | charge,
        "evacuation": template["evacuation"] | {"lowest_pa": 20.0, "curve": curve},
        "job": {"technician": f"person {k % 4}", "registration": f"car {k % 700}"},
        "alerts": [alert] * 5,
        "scale_events": [{"t_s": 1.0, "event": "bumped", "words": "bumped", "size_g": 30.0}] * 20,
    }


def fill(path: Path) -> None:
    """A store of SESSIONS closed sessions with findings and no readings."""
    rng = np.random.default_rng(3)
    marks = [Mark(float(k), "stage", {"stage": s}) for k, s in enumerate(("recovery", "evacuation", "charging"))]
    template = replay(Recording({"session_id": "t", "channels": CHANNELS, **SETUP}, marks=marks))
    store = Store.open(path)
    for k in range(SESSIONS):
        day = f"2024-{1 + k // 28 % 12:02}-{1 + k % 28:02}T08:00:00Z"
        document = describe({**SETUP, "session_id": f"s{k}"}, CHANNELS, day, k + 1)
        store.queue(insert_session(k + 1, document, {}, {}, digest=f"d{k}"))
        store.queue([_findings(k + 1, findings_of(k, template, rng))])
    store.close()


def _findings(number: int, findings: dict) -> tuple:
    return "UPDATE session SET findings = ? WHERE id = ?", [(json.dumps(findings), number)]


def report() -> list[str]:
    """Seconds for the review, and its ratio to reading every finding whole, in the same run."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tarebook.db"
        fill(path)
        reader = StoreReader(path)
        started = time.perf_counter()
        found = shop_review(session_gists(reader))
        review_s = time.perf_counter() - started
        started = time.perf_counter()
        shop_review(reader.all_findings())
        whole_s = time.perf_counter() - started
        session, findings = reader.session(LAST), reader.findings(LAST)
        started = time.perf_counter()
        before = [before_session(reader, session, findings) for _ in range(TIMES)][0]["before"]
        before_s = (time.perf_counter() - started) / TIMES
        size = reader.rows("SELECT sum(length(findings)) AS n FROM session")[0]["n"]
    return [
        f"review of {found['sessions']} sessions: {review_s:.2f} s (findings of {size / 1e6:.0f} MB)",
        f"beside reading all findings whole: {review_s / whole_s:.2f} of {whole_s:.2f} s",
        f"{len(before['visits'])} visits of one vehicle before: {1000 * before_s:.1f} ms, "
        f"{before_s / review_s:.4f} of the review",
    ]


if __name__ == "__main__":
    sys.stdout.write("\n".join(report()) + "\n")
