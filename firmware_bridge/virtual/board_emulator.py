"""A sensor board on a pseudo-terminal: samples, health, requests and a valve that silence closes, byte for byte as on
USB."""

from __future__ import annotations

import contextlib
import errno
import os
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path

from firmware_bridge.clock import Clock
from firmware_bridge.frames import MICROS_MODULUS, PROTO, SEQ_MODULUS, Decoder, Frame, encode

VALVE_HOLD_S = 1.0
LEAST_REAL_HOLD_S = 0.25
LONGEST_BACKLOG_REAL_S = 1.0


class BoardEmulator:
    """A sensor board.

    read_code: what the sensor behind a field ("w", "lo", "t1", ...) says at this moment; None when it says nothing.
    rates_hz: the fields there are, with their rates.
    link: where the port is to be found, as a stable name that survives `unplug` and `replug`.
    drift_ppm: how much too fast the board's oscillator runs.
    first_micros: what the microsecond counter shows at the first boot.
    """

    def __init__(
        self,
        read_code: Callable[[str], int | None],
        rates_hz: dict[str, float],
        clock: Clock,
        link: Path | None = None,
        *,
        board: str = "virtual",
        proto: int = PROTO,
        drift_ppm: float = 0.0,
        first_micros: int = 0,
    ):
        self.board, self.proto = board, proto
        self.beeps: list[tuple[float, int]] = []
        self.valve_log: list[tuple[float, bool]] = []
        self.boots = 0
        self._read_code, self._rates, self._clock, self._link = read_code, dict(rates_hz), clock, link
        self._pace = 1.0 + drift_ppm * 1e-6
        self._micros_at_boot = first_micros
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._master = self._slave = -1
        self._port = ""
        self._decoder = Decoder()
        self._due: dict[str, float] = {}
        self._faults: dict[str, int] = {}
        self._seq = 0
        self._booted = clock.now()
        self._silent = False
        self._torn = self._flipped = 0
        self._valve_until: float | None = None

    # --- running

    def start(self) -> None:
        self._plug_in()
        self._boot()
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, name="board-emulator", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        if self._thread:
            self._thread.join()
        self._thread = None
        self.unplug()

    @property
    def port(self) -> str:
        """What to open."""
        return str(self._link) if self._link else self._port

    @property
    def rates_hz(self) -> dict[str, float]:
        return dict(self._rates)

    @property
    def valve_open(self) -> bool:
        with self._lock:
            self._mind_valve()
            return self._valve_until is not None

    # --- faults

    def unplug(self) -> None:
        """The cable is pulled: the port and its name are gone."""
        with self._lock:
            for fd in (self._master, self._slave):
                if fd >= 0:
                    os.close(fd)
            self._master = self._slave = -1
            if self._link:
                self._link.unlink(missing_ok=True)

    def replug(self) -> None:
        """The cable is put back: the board has lost its power and boots."""
        with self._lock:
            self._plug_in()
            self._boot()

    def reset(self) -> None:
        """The board restarts with its port open."""
        with self._lock:
            self._boot()

    def silence(self, silent: bool) -> None:
        """The board hangs: the port stays and nothing comes or is answered."""
        with self._lock:
            self._silent = silent

    def tear(self, frames: int = 1) -> None:
        """The next frames lose their second half and their line end."""
        with self._lock:
            self._torn += frames

    def flip_bits(self, frames: int = 1) -> None:
        """One bit of each of the next frames arrives wrong."""
        with self._lock:
            self._flipped += frames

    def lose(self, frames: int = 1) -> None:
        """So many frames are never sent, though the board counted them."""
        with self._lock:
            self._seq += frames

    def report_health(self, **faults: int) -> None:
        """Send an ST frame: 0 fine, 1 not ready, 2 saturated, 3 open, 4 shorted."""
        with self._lock:
            self._faults.update(faults)
            self._send("ST", faults)

    # --- the board's own loop

    def _run(self) -> None:
        while not self._stop.is_set():
            self._hear(self._real_s_to_next())
            with self._lock:
                self._mind_valve()
                self._sample()

    def _real_s_to_next(self) -> float:
        due = min(self._due.values(), default=self._clock.now() + 1.0)
        return min(max(self._clock.real_s(due - self._clock.now()), 0.0), 0.05)

    def _hear(self, real_s: float) -> None:
        """Wait for a request, at most so long, and serve what came."""
        with self._lock:
            master = self._master
        if master < 0:
            self._stop.wait(max(real_s, 0.005))
            return
        with contextlib.suppress(OSError, ValueError):
            if select.select([master], [], [], real_s)[0]:
                with self._lock:
                    for frame in self._decoder.feed(os.read(self._master, 4096)):
                        self._serve(frame)

    def _serve(self, request: Frame) -> None:
        if request.type != "RQ" or self._silent:
            return
        if "id" in request.fields:
            self._identify()
        done = all(self._obey(key, int(value)) for key, value in request.fields.items())
        self._send("AK", {"seq": request.seq, "ok": int(done)})

    def _obey(self, key: str, value: int) -> bool:
        now = self._clock.now()
        if key == "rate" and value in (10, 80) and "w" in self._rates:
            self._rates["w"] = float(value)
            self._due["w"] = now
        elif key == "beep" and value >= 0:
            self.beeps.append((now, value))
        elif key == "valve" and value in (0, 1):
            self._move_valve(bool(value), now)
        elif (key, value) != ("id", 1):
            return False
        return True

    def _move_valve(self, opened: bool, now: float) -> None:
        if opened != (self._valve_until is not None):
            self.valve_log.append((now, opened))
        # a clock that runs fast must not make the hold shorter than a busy machine's hiccup
        hold_s = max(VALVE_HOLD_S, LEAST_REAL_HOLD_S * self._clock.speed)
        self._valve_until = now + hold_s if opened else None

    def _mind_valve(self) -> None:
        now = self._clock.now()
        if self._valve_until is not None and now > self._valve_until:
            self._move_valve(False, now)

    def _sample(self) -> None:
        """Send every sample that is due, oldest first, those of one moment in one frame."""
        now = self._clock.now()
        horizon = now - LONGEST_BACKLOG_REAL_S * self._clock.speed
        while self._due and (moment := min(self._due.values())) <= now:
            fields = [name for name, due in self._due.items() if due - moment < 1e-6]
            for name in fields:
                self._due[name] = max(self._due[name] + 1.0 / self._rates[name], horizon)
            codes = {name: code for name in fields if (code := self._read_code(name)) is not None}
            if codes:
                self._send("SM", codes, moment)

    def _boot(self) -> None:
        now = self._clock.now()
        self.boots += 1
        self._seq, self._booted = 0, now
        self._micros_at_boot = self._micros_at_boot if self.boots == 1 else 0
        self._decoder = Decoder()
        self._due = dict.fromkeys(self._rates, now)
        self._move_valve(False, now)
        self._identify()

    def _identify(self) -> None:
        names = "+".join(self._rates)
        self._send(
            "ID", {"fw": "1.0", "proto": str(self.proto), "board": self.board, "boot": str(self.boots), "ch": names}
        )
        if ill := {name: fault for name, fault in self._faults.items() if fault}:
            self._send("ST", ill)

    # --- the wire

    def _plug_in(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._port = os.ttyname(self._slave)
        if self._link:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(self._port)

    def _micros(self, moment: float) -> int:
        return (self._micros_at_boot + round((moment - self._booted) * self._pace * 1e6)) % MICROS_MODULUS

    def _send(self, kind: str, fields: dict[str, int | str], moment: float | None = None) -> None:
        at = self._clock.now() if moment is None else moment
        frame = Frame(kind, self._seq % SEQ_MODULUS, self._micros(at), fields)
        self._seq = frame.seq + 1
        if not self._silent:
            self._write(self._damage(encode(frame)))

    def _damage(self, line: bytes) -> bytes:
        if self._torn:
            self._torn -= 1
            return line[: len(line) // 2]
        if self._flipped:
            self._flipped -= 1
            at = len(line) // 2
            return line[:at] + bytes([line[at] ^ 0x04]) + line[at + 1 :]
        return line

    def _write(self, line: bytes) -> None:
        """As a UART does: what nobody takes is lost."""
        if self._master < 0:
            return
        try:
            os.write(self._master, line)
        except OSError as error:
            if error.errno not in (errno.EAGAIN, errno.EIO):
                raise
