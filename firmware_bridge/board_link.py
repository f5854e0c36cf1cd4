"""The serial port to a sensor board: frames with their arrival, requests with their answers, silence noticed."""

from __future__ import annotations

import errno
import threading
from dataclasses import dataclass, field

import serial

from firmware_bridge.clock import Clock
from firmware_bridge.frames import MAX_FRAME_BYTES, MICROS_MODULUS, SEQ_MODULUS, Decoder, Frame, encode
from firmware_bridge.health import patience_s
from firmware_bridge.source import SourceError

SILENCE_S = 3.0
ANSWER_S = 0.5
"""Less than half of the time for which the board holds the valve unasked: one lost answer must not close it."""
WRITE_REAL_S = 1.0


@dataclass(slots=True)
class _Pending:
    answered: threading.Event = field(default_factory=threading.Event)
    ok: bool = False


class BoardLink:
    """`open`, `read` and `close` belong to one thread; `request` may be called from any other."""

    def __init__(self, port: str, baud: int, clock: Clock):
        self.port, self.baud = port, baud
        self.decoder = Decoder()
        self.opened = self.silences = 0
        self._clock = clock
        self._silence_s = patience_s(clock, SILENCE_S)
        self._serial: serial.Serial | None = None
        self._lock = threading.Lock()
        self._pending: dict[int, _Pending] = {}
        self._seq = 0
        self._heard_s, self._noise_bytes = 0.0, 0

    def open(self) -> None:
        """Raises SourceError when the port is not there or taken."""
        try:
            port = serial.Serial(self.port, self.baud, timeout=0, write_timeout=WRITE_REAL_S, exclusive=True)
        except (OSError, ValueError) as error:
            raise SourceError(f"{self.port} cannot be opened: {_mend(error)}") from error
        self.decoder.forget_link()
        self._heard_s, self._noise_bytes = self._clock.now(), 0
        self.opened += 1
        with self._lock:
            self._serial = port

    def close(self) -> None:
        with self._lock:
            port, self._serial = self._serial, None
            waiting, self._pending = self._pending, {}
        for pending in waiting.values():
            pending.answered.set()
        if port:
            port.close()

    def read(self, timeout_s: float) -> list[tuple[Frame, float]]:
        """Frames and when they arrived (s), after at most `timeout_s`. Raises SourceError when the port has gone or the
        board has been silent for too long."""
        data = self._bytes(timeout_s)
        self._noise_bytes += len(data)
        arrival_s = self._clock.now()
        frames = self.decoder.feed(data)
        if frames:
            self._heard_s, self._noise_bytes = arrival_s, 0
        elif arrival_s - self._heard_s > self._silence_s:
            self.silences += 1
            raise SourceError(self._nothing_for(arrival_s - self._heard_s))
        for frame in frames:
            if frame.type == "AK":
                self._settle(frame)
        return [(frame, arrival_s) for frame in frames]

    def send(self, **fields: int) -> int:
        """Send a request without waiting for its answer; its sequence number. Raises SourceError."""
        with self._lock:
            return self._send(fields, None)

    def _nothing_for(self, silent_s: float) -> str:
        if self._noise_bytes > MAX_FRAME_BYTES:
            return f"{self.port}: only noise has come for {silent_s:.1f} s: is the baud rate right, the cable sound?"
        return f"{self.port}: the board has been silent for {silent_s:.1f} s"

    def request(self, **fields: int) -> bool:
        """Send a request and wait for its answer, which another thread's `read` brings; whether the board obeyed."""
        pending = _Pending()
        try:
            with self._lock:
                seq = self._send(fields, pending)
        except SourceError:
            return False
        pending.answered.wait(self._clock.real_s(patience_s(self._clock, ANSWER_S)))
        with self._lock:
            self._pending.pop(seq, None)
        return pending.ok

    def _send(self, fields: dict[str, int], pending: _Pending | None) -> int:
        if self._serial is None:
            raise SourceError(f"{self.port} is not open")
        seq = self._seq
        self._seq = (seq + 1) % SEQ_MODULUS
        if pending:
            self._pending[seq] = pending
        micros = int(self._clock.now() * 1e6) % MICROS_MODULUS
        try:
            self._serial.write(encode(Frame("RQ", seq, micros, fields)))
        except OSError as error:
            self._pending.pop(seq, None)
            raise SourceError(f"{self.port} takes no request: {error}") from error
        return seq

    def _settle(self, answer: Frame) -> None:
        with self._lock:
            pending = self._pending.get(answer.fields.get("seq", -1))
        if pending:
            pending.ok = answer.fields.get("ok") == 1
            pending.answered.set()

    def _bytes(self, timeout_s: float) -> bytes:
        port = self._serial
        if port is None:
            raise SourceError(f"{self.port} is not open")
        real_s = self._clock.real_s(timeout_s)
        try:
            if port.timeout != real_s:
                port.timeout = real_s
            return port.read(port.in_waiting or 1)
        except OSError as error:
            raise SourceError(f"{self.port} has gone: {error}") from error


def _mend(error: Exception) -> str:
    """Why a port was not opened, and what helps."""
    number = getattr(error, "errno", None)
    if number in (errno.EAGAIN, errno.EBUSY):
        return "another program has it, perhaps the logger: stop that first"
    if number == errno.EACCES:
        return "this user may not read it: add it to the group dialout"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return "it is not there: is the board plugged in?"
    return f"{error}: is the board plugged in?"
