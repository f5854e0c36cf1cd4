"""A broker's line that is ill: a relay before a real broker that refuses, says nothing, is slow, or breaks off."""

from __future__ import annotations

import contextlib
import select
import socket
import threading
import time
from pathlib import Path

from brokers import Broker
from listener import Listener

FLAP_S, SLOW_BYTES, SLOW_S = 0.6, 200, 0.1


class IllBroker:
    """`port` is for the logger; who listens does so at the broker itself. mode: "well", "gone", "refusing", "silent",
    "slow", "flapping"."""

    def __init__(self, folder: Path, anonymous: bool = True):
        folder.mkdir(parents=True, exist_ok=True)
        self._broker = Broker(folder, anonymous)
        self._broker.start()
        self.listener = Listener(self._broker.port) if anonymous else None
        self.mode = "well"
        self._door = socket.create_server(("127.0.0.1", 0))
        self._door.settimeout(0.1)
        self.port = self._door.getsockname()[1]
        self._end = threading.Event()
        self._lines: list[threading.Thread] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    def close(self) -> None:
        self._end.set()
        for thread in (self._accepting, *self._lines):
            thread.join(10)
        self._door.close()
        if self.listener:
            self.listener.close()
        self._broker.stop()

    def _accept(self) -> None:
        while not self._end.is_set():
            with contextlib.suppress(TimeoutError):
                line, _ = self._door.accept()
                if self.mode in ("gone", "refusing"):
                    line.close()
                    continue
                self._lines.append(threading.Thread(target=self._carry, args=(line,), daemon=True))
                self._lines[-1].start()

    def _carry(self, line: socket.socket) -> None:
        """Both ways until an end closes, the mode breaks it off, or all is over."""
        began = time.monotonic()
        with contextlib.suppress(OSError), line, socket.create_connection(("127.0.0.1", self._broker.port)) as broker:
            other = {line: broker, broker: line}
            while not self._end.is_set() and not self._breaks_off(began):
                if self.mode == "silent":
                    self._end.wait(0.05)
                    continue
                for ready in select.select(list(other), [], [], 0.05)[0]:
                    slow = self.mode == "slow"
                    data = ready.recv(SLOW_BYTES if slow else 65536)
                    if not data:
                        return
                    other[ready].sendall(data)
                    if slow:
                        self._end.wait(SLOW_S)

    def _breaks_off(self, began: float) -> bool:
        if self.mode in ("gone", "refusing"):
            return True
        return self.mode == "flapping" and time.monotonic() - began > FLAP_S
