"""Importing this puts an emulated HX711 behind `RPi.GPIO` in this process; load and faults come by the wire file."""

from __future__ import annotations

import itertools
import time

from firmware_bridge.virtual.hx711_chip import Hx711Chip, gpio_module, install, stall
from firmware_bridge.virtual.hx711_wire import Hx711Wire

TOO_LONG_S = 150e-6
LEVELS = {"stuck-high": 1, "stuck-low": 0}

_wire = Hx711Wire.of_environment()
_edges = itertools.count(1)


def _spoil(_level: bool) -> None:
    every = _wire.stall_every
    if every and next(_edges) % every == 0:
        stall(TOO_LONG_S)


def _stuck() -> int | None:
    while (fault := _wire.fault) == "hang":
        time.sleep(0.01)
    return LEVELS.get(fault)


install(gpio_module(Hx711Chip(lambda _input: _wire.code, _wire.rate_hz, time.perf_counter), _spoil, _stuck))
