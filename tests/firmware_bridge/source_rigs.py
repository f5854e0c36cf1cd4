"""A bench for each source: its emulated hardware, and switches for what may befall it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from firmware_bridge.ads1115 import Ads1115Source
from firmware_bridge.blocks import CHANNEL_UNITS, Block
from firmware_bridge.board import BoardSource
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.clock import Clock
from firmware_bridge.hx711_cell import Hx711Source
from firmware_bridge.onewire import OneWireSource
from firmware_bridge.source import ChannelHealth, Source, SourceError
from firmware_bridge.virtual.ads1115_chip import Ads1115Chip, VirtualI2cBus
from firmware_bridge.virtual.board_emulator import BoardEmulator
from firmware_bridge.virtual.hx711_wire import Hx711Wire
from firmware_bridge.virtual.onewire_files import OneWireFiles

REOPEN_REAL_S = 0.1
PATIENCE_REAL_S = 30.0
"""How long a test waits at most for what must come, so that a busy machine does not fail it."""
ADS_OPTIONS = {
    "bus": 1,
    "address": 0x48,
    "input": "A0",
    "range_v": 6.144,
    "sps": 860,
    "mode": "single-shot",
    "supply_input": None,
}


def channel(name: str, source: str, rate_hz: float, field: str = "", **more: Any) -> ChannelConfig:
    """A channel whose values are a tenth of its codes."""
    points = ((0.0, 0.0), (1000.0, 100.0))
    return ChannelConfig(name, source, CHANNEL_UNITS[name], points, rate_hz, field, **more)


@dataclass
class Rig:
    """say: let the sensor of `channel` give a code; spoil: let it give no valid reading; kill: take its device away."""

    source: Source
    clock: Clock
    channel: str
    say: Callable[[int], None]
    spoil: Callable[[], None]
    kill: Callable[[], None]
    revive: Callable[[], None]
    end: Callable[[], None] = lambda: None
    parts: dict[str, Any] = field(default_factory=dict)

    def health(self, name: str | None = None) -> ChannelHealth:
        return next(each for each in self.source.health() if each.channel == (name or self.channel))

    def watch(self, until: Callable[[list[Block]], bool]) -> list[Block]:
        """Read as the daemon does, opening the source anew when it has gone, until the blocks got so far satisfy."""
        blocks: list[Block] = []
        give_up = time.monotonic() + PATIENCE_REAL_S
        while not until(blocks):
            assert time.monotonic() < give_up, f"waited in vain; {self.source.health()} {self.source.counters()}"
            try:
                blocks += self.source.read(0.2)
            except SourceError:
                self.reopen()
        return blocks

    def reopen(self) -> None:
        self.source.close()
        time.sleep(REOPEN_REAL_S)
        try:
            self.source.open()
        except SourceError:
            """The next read fails too, and so this is tried again."""

    def watch_codes(self, count: int, name: str | None = None) -> np.ndarray:
        """The next codes of a channel, at least so many."""
        wanted = name or self.channel
        blocks = self.watch(lambda got: sum(len(b) for b in got if b.channel == wanted) >= count)
        return np.concatenate([b.code for b in blocks if b.channel == wanted])

    def watch_code(self, code: int, name: str | None = None) -> None:
        """Until a channel gives this code."""
        wanted = name or self.channel
        self.watch(lambda got: any(b.channel == wanted and code in b.code for b in got))

    def watch_quality(self, quality: str, name: str | None = None) -> ChannelHealth:
        self.watch(lambda _: self.health(name).quality == quality)
        return self.health(name)


def board_rig(folder: Path, clock: Clock | None = None, **options: Any) -> Rig:
    clock = clock or Clock()
    codes: dict[str, int | None] = {"w": 1000, "t1": 320}
    emulator = BoardEmulator(codes.get, {"w": 20.0, "t1": 10.0}, clock, folder / "board", **options)
    emulator.start()
    channels = {"scale": channel("scale", "board", 20.0, "w"), "vent_temp": channel("vent_temp", "board", 10.0, "t1")}
    return Rig(
        source=BoardSource(emulator.port, channels, clock),
        clock=clock,
        channel="scale",
        say=lambda code: codes.update(w=code),
        spoil=lambda: emulator.report_health(w=2),
        kill=emulator.unplug,
        revive=emulator.replug,
        end=emulator.stop,
        parts={"emulator": emulator, "codes": codes, "channels": channels},
    )


def hx711_rig(folder: Path, rate_hz: float = 80.0, gain: int = 128) -> Rig:
    clock = Clock()
    wire = Hx711Wire(folder / "hx711", rate_hz)
    wire.code = 1000
    pins = {"dout_pin": 5, "sck_pin": 6, "gain": gain}
    source = Hx711Source(
        {"scale": channel("scale", "hx711", rate_hz, options=pins)},
        clock,
        gpio_module="firmware_bridge.virtual.hx711_pins",
    )
    return Rig(
        source=source,
        clock=clock,
        channel="scale",
        say=lambda code: setattr(wire, "code", code),
        spoil=lambda: setattr(wire, "code", 0x7FFFFF),
        kill=lambda: setattr(wire, "fault", "hang"),
        revive=lambda: setattr(wire, "fault", "none"),
        end=wire.close,
        parts={"wire": wire},
    )


def ads1115_rig(_folder: Path, **options: Any) -> Rig:
    clock = Clock()
    lsb_v = options.get("range_v", 6.144) / 32768
    volts = {"A0": 1000 * lsb_v, "A1": 1.0, "A2": 0.0, "A3": 5.0}
    chip = Ads1115Chip(volts.__getitem__, clock)
    bus = VirtualI2cBus({0x48: chip})
    config = channel("low_side", "ads1115", 20.0, options=ADS_OPTIONS | options)

    def revive() -> None:
        chip.reset()
        chip.present = True

    return Rig(
        source=Ads1115Source({"low_side": config}, clock, open_bus=lambda _number: bus),
        clock=clock,
        channel="low_side",
        say=lambda code: volts.update(A0=code * lsb_v),
        spoil=lambda: volts.update(A0=9.0),
        kill=lambda: setattr(chip, "present", False),
        revive=revive,
        parts={"chip": chip, "volts": volts},
    )


def onewire_rig(folder: Path) -> Rig:
    clock = Clock()
    files = OneWireFiles(folder / "w1")
    probes = {"vent_temp": "28-000000000001", "ambient_temp": "28-000000000002"}
    for probe in probes.values():
        files.set_code(probe, 1000)
    channels = {
        name: channel(name, "onewire", 20.0, options={"probe": probe, "folder": str(files.folder)})
        for name, probe in probes.items()
    }
    vent = probes["vent_temp"]
    return Rig(
        source=OneWireSource(channels, clock),
        clock=clock,
        channel="vent_temp",
        say=lambda code: files.set_code(vent, code),
        spoil=lambda: files.garble(vent),
        kill=lambda: files.unplug(vent),
        revive=lambda: files.set_code(vent, 1000),
        parts={"files": files, "probes": probes},
    )


RIGS = {"board": board_rig, "hx711": hx711_rig, "ads1115": ads1115_rig, "onewire": onewire_rig}
