"""Sessions with codes, as a cart gives them, for the tests and benches of the store."""

from __future__ import annotations

import numpy as np

from firmware_bridge.blocks import INVALID_CODE, Block
from firmware_bridge.calibration import Calibration
from logger.measure.marks import Mark
from logger.record.store import StoreReader

SETUP = {
    "cart_id": "cart-1",
    "refrigerant": "R-134a",
    "placard": {"low_g": 480, "high_g": 520},
    "vehicle": {"registration": "AB 100%"},
    "order_number": "77-1",
}
CHANNELS = {
    "scale": {"unit": "g", "rate_hz": 80.0, "points": [[0, 0.0], [420000, 2000.0]]},
    "low_side": {"unit": "kPa", "rate_hz": 10.0, "points": [[102, 0.0], [921, 3447.4]]},
    "vent_temp": {"unit": "°C", "rate_hz": 2.0, "points": None},
}

ALERT = {
    "seq": 1,
    "t_s": 5.0,
    "code": "stop-charging",
    "subject": "",
    "severity": "notice",
    "message": "Close the valve.",
    "state": "raised",
    "acknowledged_t_s": None,
    "cleared_t_s": None,
}


def look(second: int, channels: dict = CHANNELS, seed: int = 0) -> list[Block]:
    """One second of readings of every channel; the same second is always the same."""
    rng = np.random.default_rng((seed, second))
    return [_block(rng, second, name, channel) for name, channel in channels.items()]


def _block(rng: np.random.Generator, second: int, name: str, channel: dict) -> Block:
    count = int(channel["rate_hz"])
    jitter_s = np.sort(rng.uniform(0, 0.0005, count))
    t_s = np.round(second + np.arange(count) / count + jitter_s, 6)
    if not channel["points"]:
        return Block(name, t_s, np.round(rng.normal(20, 0.1, count) * 16) / 16)
    code = rng.normal(500_000 if name == "scale" else 512, 40, count).astype(np.int32)
    code[rng.random(count) < 0.02] = INVALID_CODE
    return Block(name, t_s, Calibration(channel["points"]).apply(code), code)


def joined(looks: list[list[Block]], name: str, column: str) -> np.ndarray:
    """One channel's column over many looks."""
    return np.concatenate([getattr(b, column) for blocks in looks for b in blocks if b.channel == name])


def assert_holds(reader: StoreReader, session_id: str, looks: list[list[Block]]) -> None:
    """The store gives these looks back, bit for bit."""
    found = [item for item in reader.batches(session_id) if not isinstance(item, Mark)]
    for name in CHANNELS:
        assert joined(found, name, "t_s").tolist() == joined(looks, name, "t_s").tolist()
        values = joined(found, name, "value").view(np.int64)
        assert values.tolist() == joined(looks, name, "value").view(np.int64).tolist()
        if CHANNELS[name]["points"]:
            assert joined(found, name, "code").tolist() == joined(looks, name, "code").tolist()
        else:
            assert all(block.code is None for blocks in found for block in blocks if block.channel == name)
