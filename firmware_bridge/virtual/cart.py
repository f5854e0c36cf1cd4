"""A virtual cart at the wire: a scenario played at a clock's pace behind an emulated board, with its cart file."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firmware_bridge.clock import Clock
from firmware_bridge.virtual.board_emulator import BoardEmulator
from firmware_bridge.virtual.rollout import setup_of
from firmware_bridge.virtual.run import Run
from firmware_bridge.virtual.senses import SenseErrors
from firmware_bridge.virtual.setting import Scenario
from firmware_bridge.virtual.truth import truth_of

_PACE_S = 0.02
_LOWEST_CODE, _HIGHEST_CODE = -(2**23), 2**23 - 1


@dataclass(frozen=True)
class Wire:
    """A channel on the board: its field, two calibration points (code, value), its rate (None: the scale's own)."""

    field: str
    points: tuple[tuple[int, float], tuple[int, float]]
    rate_hz: float | None

    def code(self, value: float) -> int:
        """The code that the calibration points turn into `value`, kept within 24 bits."""
        (code_a, value_a), (code_b, value_b) = self.points
        code = round(code_a + (value - value_a) * (code_b - code_a) / (value_b - value_a))
        return min(max(code, _LOWEST_CODE), _HIGHEST_CODE)


_SIXTEENTHS = ((0, 0.0), (1600, 100.0))
WIRES = {
    "scale": Wire("w", ((84_000, 0.0), (2_184_000, 10_000.0)), None),
    "low_side": Wire("lo", ((2_667, -101.325), (24_000, 1_034.2)), 5.0),
    "high_side": Wire("hi", ((2_667, -101.325), (24_000, 3_447.4)), 5.0),
    "vacuum": Wire("va", ((0, 0.0), (27_000, 2_700.0)), 2.0),
    "ambient_temp": Wire("t1", _SIXTEENTHS, 1.0),
    "vent_temp": Wire("t2", _SIXTEENTHS, 1.0),
    "container_temp": Wire("t3", _SIXTEENTHS, 1.0),
    "suction_temp": Wire("t4", _SIXTEENTHS, 1.0),
    "liquid_temp": Wire("t5", _SIXTEENTHS, 1.0),
}
"""What the virtual board carries; barometer and humidity have no wire on it."""


class VirtualCart:
    """Plays `scenario` at the pace of `clock`; the production drivers read it through the cart file in `workdir`.

    cart_file: written by `start`. marks: set it to be told each mark as (mark, detail), from the cart's own thread.
    done: set when the technician has finished or the scenario's time is up; the board goes on sampling until `stop`.
    """

    def __init__(self, scenario: Scenario, clock: Clock, workdir: str | Path):
        self.scenario, self.clock = scenario, clock
        self.cart_file = Path(workdir) / "cart.toml"
        self.marks: Callable[[str, dict], None] | None = None
        self.done = threading.Event()
        self._run = Run(scenario)
        self._run.technician.on_mark = self._tell_mark
        self._errors = SenseErrors(self._run)
        self._white = np.random.default_rng([scenario.seed, 41])
        self._by_field = {wire.field: channel for channel, wire in WIRES.items()}
        self._alerts: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._lock = threading.RLock()
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None
        rates_hz = {wire.field: wire.rate_hz or scenario.sensors.scale_rate_hz for wire in WIRES.values()}
        self.board = BoardEmulator(self._read_code, rates_hz, clock)

    def start(self, play: bool = True) -> None:
        """Open the board's port, write the cart file, begin to play. Raises OSError when it cannot write.

        play: False leaves the technician waiting until `play`, while the board samples already.
        """
        self.board.start()
        self.cart_file.parent.mkdir(parents=True, exist_ok=True)
        self.cart_file.write_text(self._cart_text(), encoding="utf-8")
        if play:
            self.play()

    def play(self) -> None:
        """The technician begins; the scenario's time counts from here."""
        self._thread = threading.Thread(target=self._play, name="virtual-cart", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the play and the board; harmless twice."""
        self._halt.set()
        if self._thread:
            self._thread.join()
            self._thread = None
        self.board.stop()

    def on_alert(self, code: str) -> None:
        """The technician hears an alert; may be called from any thread."""
        self._alerts.put(code)

    def setup(self) -> dict:
        """The keys of session.json with which to open the session."""
        wired = {name: sense for name, sense in self._errors.senses.items() if name in WIRES}
        return setup_of(self.scenario, wired)

    def truth(self) -> dict:
        """What no sensor sees, so far; times count from `play`."""
        with self._lock:
            return truth_of(self._run)

    # --- the cart's own thread

    def _play(self) -> None:
        began = self.clock.now()
        while not self._halt.is_set() and not self.done.is_set():
            due_s = self.clock.now() - began
            while self._run.plant.t_s < due_s and not self._run.finished and not self._halt.is_set():
                self._step()
            if self._run.finished:
                self.done.set()
            self._halt.wait(_PACE_S)

    def _step(self) -> None:
        while not self._alerts.empty():
            self._run.technician.hear(self._alerts.get())
        with self._lock:
            self._run.step()

    def _tell_mark(self, _: float, mark: str, detail: dict) -> None:
        if self.marks:
            self.marks(mark, detail)

    def _read_code(self, field: str) -> int | None:
        """What the sensor behind `field` says now; None while its reading is dropped."""
        channel = self._by_field[field]
        row = np.array(self._run.trace[-1:])
        value = float(self._errors.read(channel, row[:, 0], row, self._white.standard_normal(1))[0])
        return None if np.isnan(value) else WIRES[channel].code(value)

    def _cart_text(self) -> str:
        lines = ["[cart]", 'id = "virtual-cart"', f"altitude_m = {self.scenario.air.altitude_m}", ""]
        lines += ["[board]", f'port = "{self.board.port}"', "baud = 115200", ""]
        for channel, wire in WIRES.items():
            unit, points = self._errors.senses[channel].unit, [list(point) for point in wire.points]
            rate_hz = wire.rate_hz or self.scenario.sensors.scale_rate_hz
            lines += [f"[channel.{channel}]", 'source = "board"', f'field = "{wire.field}"', f'unit = "{unit}"']
            lines += [f"points = {points}", f"rate_hz = {rate_hz}", ""]
        lines += ["[technician]", f"close_lag_s = {self.scenario.technician.close_lag_s}", ""]
        return "\n".join(lines)
