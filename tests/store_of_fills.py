"""Closed sessions with a small fill in them, for tests that need a store with something to give."""

from __future__ import annotations

import numpy as np

from firmware_bridge.blocks import Block
from logger.measure.marks import Mark
from logger.record.store import Store

CHANNELS = {"scale": {"unit": "g", "rate_hz": 10.0, "points": None}}
TARGET_G = 500.0


def add_fill(store: Store, cart_id: str, seconds: int = 60, error_g: float = 0.0) -> str:
    """A session of so many seconds that ended `error_g` off its target; its id."""
    setup = {
        "cart_id": cart_id,
        "refrigerant": "R-134a",
        "placard": {"low_g": 480, "high_g": 520},
        "target_g": TARGET_G,
        "vehicle": {"registration": f"TEST {cart_id}"},
    }
    session_id = store.create_session(setup, CHANNELS, "2026-05-04T09:30:00Z", {})
    t_s = np.arange(0.05, seconds, 0.1).round(6)
    noise = np.random.default_rng(len(session_id)).normal(0, 1, len(t_s))
    store.append(session_id, [Block("scale", t_s, 5000.0 - 2.0 * t_s + noise)])
    store.add_mark(session_id, Mark(1.0, "stage", {"stage": "charging"}))
    charge = {"delivered_g": TARGET_G + error_g, "target_g": TARGET_G, "uncertainty_g": 4.0}
    findings = {"session_id": session_id, "duration_s": float(seconds), "charge": charge, "alerts": [], "review": []}
    store.set_findings(session_id, findings)
    store.close_session(session_id)
    return session_id
