"""One source, one thread: reads as long as it gives, opens it again when it does not."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from firmware_bridge.blocks import Block
from firmware_bridge.clock import Clock
from firmware_bridge.source import Source, SourceError

log = logging.getLogger(__name__)

READ_S = 0.2
LEAST_REAL_READ_S = 0.02
GONE_WAIT_S = 0.3
CLOSED_WAIT_S, LONGEST_CLOSED_WAIT_S = 0.5, 8.0
DEFECT_WAIT_S = 5.0


class SourceThread:
    """Hands on what its source reads until `stop` is set. Waits after an error, by its kind: a device that went while
    it was read is tried again soon, one that cannot be opened ever more rarely, a driver that broke after a pause."""

    def __init__(self, source: Source, hand_on: Callable[[list[Block]], None], clock: Clock, stop: threading.Event):
        self.source = source
        self.trouble = ""
        self.reads = self.turns = 0
        self._hand_on, self._clock, self._stop = hand_on, clock, stop
        self._closed_wait_s = CLOSED_WAIT_S
        self._thread = threading.Thread(target=self._run, name=f"source {source.name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def alive(self) -> bool:
        return self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.turns += 1
            wait_s = self._one_life()
            self._stop.wait(wait_s)

    def _one_life(self) -> float:
        """Open, read until it fails or the program ends, close; how long to wait before the next try (real s)."""
        reads_before = self.reads
        try:
            self.source.open()
            self._read_on()
            return 0.0
        except SourceError as error:
            return self._failed(str(error), self.reads > reads_before)
        except Exception as error:  # a defect in one driver must not take the others along
            log.exception("source %s broke", self.source.name)
            self.trouble = f"{self.source.name}: the driver broke ({type(error).__name__}: {error})"
            return DEFECT_WAIT_S
        finally:
            self._close()

    def _read_on(self) -> None:
        timeout_s = max(READ_S, LEAST_REAL_READ_S * self._clock.speed)
        while not self._stop.is_set():
            self.turns += 1
            blocks = self.source.read(timeout_s)
            if blocks:
                self.reads += 1
                self.trouble = ""
                self._closed_wait_s = CLOSED_WAIT_S
                self._hand_on(blocks)

    def _failed(self, reason: str, had_read: bool) -> float:
        if reason != self.trouble:
            log.warning("%s", reason)
        self.trouble = reason
        if had_read:
            return GONE_WAIT_S
        wait_s, self._closed_wait_s = self._closed_wait_s, min(2 * self._closed_wait_s, LONGEST_CLOSED_WAIT_S)
        return wait_s

    def _close(self) -> None:
        try:
            self.source.close()
        except Exception:  # see above
            log.exception("source %s does not close", self.source.name)
