"""A cart's port without a cart: a fill that can be put at any moment, for the pages' own tests and pictures."""

from __future__ import annotations

import math
import threading
import time
from pathlib import Path

import numpy as np

from firmware_bridge.blocks import Block
from firmware_bridge.cart import load_cart
from firmware_bridge.clock import Clock
from logger.measure.atmosphere import Ambient, ambient_pressure
from logger.measure.marks import Mark
from logger.pairing import Pairing
from logger.paths import store_path
from logger.publish.feed import Feed
from logger.recent_scale import RecentScale
from logger.recent_sensors import RecentSensors
from logger.record.containers import Containers
from logger.record.importing import add_recording
from logger.record.recording import read_recording
from logger.record.store import Store
from logger.record_desk import RecordDesk
from logger.scale_desk import ScaleDesk
from logger.wallclock import WallClock

TARGET_G, LOW_G, HIGH_G = 620.0, 605.0, 635.0
START_GROSS_G = 5243.0
FLOW_G_PER_S = 5.2
HOSTILE = "<script>document.title='owned'</script>\"'&"


def channel(value: float | None, unit: str, age_s: float = 0.1, quality: str = "good", **more) -> dict:
    return {"value": value, "unit": unit, "age_s": age_s, "quality": quality, **more}


def alert(seq: int, code: str, severity: str, message: str, state: str = "raised", t_s: float = 0.0) -> dict:
    cleared = t_s + 1 if state == "cleared" else None
    return {
        "seq": seq,
        "t_s": t_s,
        "code": code,
        "severity": severity,
        "message": message,
        "state": state,
        "cleared_t_s": cleared,
    }


def filling(t_s: float = 80.0, alerts: list[dict] | None = None, **changes) -> dict:
    """What /api/now says `t_s` seconds into a fill; `changes` replaces whole keys."""
    delivered = min(TARGET_G, FLOW_G_PER_S * t_s)
    flow = FLOW_G_PER_S if delivered < TARGET_G else 0.0
    now = {
        "t_utc": "2026-05-04T09:30:00Z",
        "clock_trusted": True,
        "session_id": "s-1",
        "stage": "charging",
        "t_s": t_s,
        "channels": {
            "scale": channel(START_GROSS_G - delivered, "g"),
            "low_side": channel(236 + 8 * math.sin(t_s / 9), "kPa", 0.3),
            "high_side": channel(1340 + 30 * math.sin(t_s / 14), "kPa", 0.3),
            "vacuum": channel(2666.0, "Pa", 0.6),
            "ambient_temp": channel(27.4, "°C", 1.2),
            "vent_temp": channel(11.8, "°C", 1.2),
            "container_temp": channel(24.9, "°C", 1.2),
            "suction_temp": channel(6.3, "°C", 1.2),
            "liquid_temp": channel(43.8, "°C", 1.2),
        },
        "charge": {
            "target_g": TARGET_G,
            "placard_low_g": LOW_G,
            "placard_high_g": HIGH_G,
            "delivered_g": delivered,
            "remaining_g": TARGET_G - delivered,
            "flow_g_per_s": flow,
            "seconds_to_stop": max(0.0, (TARGET_G - delivered - 8.0) / FLOW_G_PER_S) if flow else None,
        },
        "physics": {
            "saturation": {"low_c": 1.4, "high_c": 50.2},
            "evacuation": None,
            "hold": None,
            "performance": None,
        },
        "alerts": alerts or [],
    }
    return {**now, **changes}


def holding() -> dict:
    """A vacuum hold, nine minutes in."""
    now = {**filling(0.0), "stage": "vacuum_hold", "t_s": 540.0}
    now["channels"]["vacuum"] = channel(48.3, "Pa", 0.4)
    now["channels"]["low_side"] = channel(-101.0, "kPa", 0.3)
    now["channels"]["high_side"] = channel(-100.0, "kPa", 0.3)
    hold = {
        "verdict": "inconclusive",
        "rise_pa_per_s": 0.011,
        "ci95": [-0.002, 0.024],
        "seconds_still": 340.0,
        "smallest_detectable_pa_per_s": 0.02,
        "words": "anything between no leak and 0.024 Pa/s fits: hold longer",
    }
    now["physics"] = {"saturation": {"low_c": None, "high_c": None}, "hold": hold}
    return now


CHANNELS = {
    "scale": {"unit": "g", "rate_hz": 2},
    "low_side": {"unit": "kPa", "rate_hz": 2},
    "high_side": {"unit": "kPa", "rate_hz": 2},
    "vacuum": {"unit": "Pa", "rate_hz": 1},
    "vent_temp": {"unit": "°C", "rate_hz": 0.5},
    "ambient_temp": {"unit": "°C", "rate_hz": 0.5},
}
CLOSED = {
    "session_id": "s-0",
    "refrigerant": "R-1234yf",
    "placard": {"nominal_g": 450, "tolerance_g": 20},
    "vehicle": {"registration": "MO 207 QT"},
}
OPEN = {
    "session_id": "s-1",
    "refrigerant": "R-134a",
    "placard": {"low_g": LOW_G, "high_g": HIGH_G},
    "vehicle": {"registration": "KX 41 BAY", "note": HOSTILE},
}
FINDINGS = {
    "session_id": "s-0",
    "refrigerant": "R-1234yf",
    "duration_s": 1500.0,
    "charge": {
        "target_g": 450.0,
        "placard_low_g": 430.0,
        "placard_high_g": 470.0,
        "delivered_g": 448.6,
        "uncertainty_g": 5.2,
        "coverage_factor": 2,
        "vented_g": 0.4,
        "hose_residue_g": 3.1,
        "within_placard": True,
        "containers": [
            {"on_t_s": 10.0, "off_t_s": 1300.0, "gross_on_g": 5243.0, "gross_off_g": 4791.0, "drawn_g": 452.1}
        ],
        "stop_alert_t_s": 1220.0,
        "flow_ended_t_s": 1221.8,
        "mean_flow_g_per_s": 4.1,
    },
    "recovered": {"mass_g": 212.0, "uncertainty_g": 6.0},
    "evacuation": {"lowest_pa": 31.0, "seconds_below_67_pa": 700.0, "water_plateau": False},
    "vacuum_hold": [
        {
            "start_t_s": 900.0,
            "end_t_s": 1100.0,
            "verdict": "tight",
            "rise_pa_per_s": 0.0021,
            "rise_ci95_pa_per_s": [0.0008, 0.0034],
            "smallest_detectable_pa_per_s": 0.003,
            "leak_g_per_year": [1.1, 4.0],
            "why": "rises more slowly than this hold could tell from none",
        }
    ],
    "performance": None,
    "alerts": [
        {
            "seq": 1,
            "t_s": 1220.0,
            "code": "stop-charging",
            "severity": "notice",
            "message": "Close the container valve now.",
            "cleared_t_s": 1222.0,
        }
    ],
    "review": [
        {"criterion": "charge off target", "measured": -1.4, "unit": "g", "limit": "±15", "outcome": "pass"},
        {"criterion": "vacuum held", "measured": 700.0, "unit": "s", "limit": "≥ 900", "outcome": "marginal"},
    ],
}
ERRORS_G = [1.0, -2.0, 0.5, 2.0, -1.0, 0.0, 1.5, -0.5, 30.0]
JOB = {
    "vin": "1G4AH59H45G118341",
    "odometer_km": 90_000.0,
    "technician": "A. Someone",
    "certificate": "T-0000",
    "parts": [{"part": "condenser", "oil_ml": 30.0}],
    "leak_verdict": "found",
    "leak_place": "condenser, lower corner",
    "repair_done": True,
}


def _curve(channel: str, t_s: float) -> float:
    """A channel's reading in the kept sessions: a quarter of a minute at rest, then the fill."""
    now = filling(max(0.0, t_s - 15.0))["channels"][channel]["value"]
    shapes = {"vent_temp": 26 - min(t_s, 300) / 22, "vacuum": 2666.0, "scale": now + 0.6 * math.sin(t_s * 7)}
    return shapes.get(channel, now)


def _readings(end_s: float) -> list[Block]:
    blocks = []
    for name, channel in CHANNELS.items():
        t_s = np.arange(0.0, end_s, 1 / channel["rate_hz"])
        blocks.append(Block(name, t_s, np.array([_curve(name, t) for t in t_s]), None))
    return blocks


def kept_sessions(folder: Path) -> Store:
    """A store with one closed and one open session."""
    store = Store.open(store_path(folder))
    channels = {name: {**channel, "points": None} for name, channel in CHANNELS.items()}
    for setup, began, end_s in ((CLOSED, "2026-05-03T14:02:10Z", 240.0), (OPEN, "2026-05-04T09:28:40Z", 60.0)):
        session_id = store.create_session(setup, channels, began, {})
        store.append(session_id, _readings(end_s))
        store.add_mark(session_id, Mark(0.0, "stage", {"stage": "charging"}))
        if setup is CLOSED:
            store.set_findings(session_id, FINDINGS)
            store.close_session(session_id)
    store.commit()
    _ledger(store)
    return store


def _ledger(store: Store) -> None:
    kept = Containers(store)
    kept.add("R-7", "recovery_cylinder", "R-1234yf", tare_g=6200.0, start_g=1800.0, retest_due="2027-03-01")
    kept.recovered("R-7", 212.0, "s-0", "2026-05-03T14:20:00Z")
    kept.sent("R-7", 400.0, "Reclaim yard", "1 Example Road", "2026-05-03T16:00:00Z")
    kept.add("C-12", "can", "R-134a", tare_g=180.0, full_g=340.0, note=HOSTILE)


def fill_shop(store: Store) -> None:
    """More closed sessions, the last one far off its target."""
    channels = {"scale": {"unit": "g", "rate_hz": 1.0, "points": None}}
    store.close_session("s-1")
    for k, error_g in enumerate(ERRORS_G):
        setup = {"session_id": f"v-{k}", "refrigerant": "R-134a", "target_g": 450.0}
        setup["vehicle"] = {"registration": f"V {k % 5}"}
        store.create_session(setup, channels, f"2026-0{6 + k // 5}-1{k % 5}T08:00:00Z", {})
        charge = {**FINDINGS["charge"], "delivered_g": 450.0 + error_g, "flow_ended_t_s": 1221.0 + 0.3 * (k % 4)}
        ends = zip(
            ("recovery", "evacuation", "vacuum_hold", "charging"), (0.0, 300.0, 800.0 + 20 * k, 1180.0), strict=True
        )
        stages = [{"t_s": t_s, "stage": stage, "by": "signals", "why": ""} for stage, t_s in ends]
        found = {**FINDINGS, "session_id": f"v-{k}", "charge": charge, "stages": stages, "job": {**JOB, "vin": ""}}
        store.set_findings(f"v-{k}", found)
        store.close_session(f"v-{k}")


def scale_cart(folder: Path):
    """A cart whose scale has a class."""
    path = folder / "cart.toml"
    path.write_text(
        '[cart]\nid = "cart-1"\n[channel.scale]\nsource = "virtual"\nunit = "g"\npoints = [[0, 0.0], [1000, 1000.0]]\n'
        '[scale]\nclass = "III"\ne_g = 5\nmax_g = 50000\n'
    )
    return load_cart(path)


class FakePort:
    """`shown` is what the cart says now; `did` is what it was told to do."""

    def __init__(self, folder: Path):
        self.writer = kept_sessions(folder)
        self.feed, self.store, self.pairing = Feed(), self.writer.reader(), Pairing(folder / "pairing.json")
        self.shown, self.did = filling(), []
        self.clock = Clock(5.0)
        self.recent = RecentScale(self.clock, time.sleep)
        self.scale = ScaleDesk(scale_cart(folder), self.writer, WallClock(), self.clock, self.recent)
        self.sensors = RecentSensors()
        self.sensors.take(_readings(15.0))
        self.desk = RecordDesk(self.writer, WallClock(), self.mark)
        self._ends = threading.Event()

    def now(self) -> dict:
        return self.shown

    def counters(self) -> dict[str, dict[str, int]]:
        return {"engine": {"turns": 7, "failures": 0}, "channel scale": {"readings": 120, "invalid": 1}}

    def ambient(self) -> Ambient:
        return ambient_pressure(None, 0.0)

    def health(self) -> dict[str, str]:
        return {"engine": "ok", "recorder": "ok"}

    def show(self, now: dict) -> None:
        self.shown = now
        self.feed.publish("now", now)

    def open_session(self, setup: dict) -> str:
        self.did.append(("open", setup))
        return "s-2"

    def findings(self) -> dict | None:
        return {**FINDINGS, "session_id": "s-1"}

    def mark(self, mark: dict) -> float:
        self.did.append(("mark", mark))
        return 80.5

    def close_session(self) -> dict:
        self.did.append(("close", None))
        return FINDINGS

    def order_valve(self, open_it: bool) -> dict:
        self.did.append(("valve", open_it))
        return {"open": open_it, "why": ""}

    def import_recording(self, path: Path, findings: dict) -> str:
        session_id, _ = add_recording(self.writer, read_recording(path))
        self.writer.set_findings(session_id, findings)
        self.writer.commit()
        return session_id

    def ack(self, code: str) -> None:
        self.did.append(("ack", code))

    def live(self, start_s: float = 40.0, rate: float = 5.0) -> threading.Thread:
        """Go on filling in a thread until `end`."""
        thread = threading.Thread(target=self._fill, args=(start_s, rate), daemon=True)
        thread.start()
        return thread

    def _fill(self, t_s: float, rate: float) -> None:
        while not self._ends.wait(1 / rate):
            t_s += 1 / rate
            self.show(filling(t_s, self.shown["alerts"]))

    def end(self) -> None:
        self._ends.set()
        self.writer.close()
