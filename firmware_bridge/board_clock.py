"""When a sample was taken, on the host's clock, from the board's microsecond counter.

A frame arrives some delay after its sample: at least the wire's, often more, because a scheduler or a USB frame held
it back. So the points (board time, arrival) lie above a line, and the line is their lower envelope. Per second of
arrival the least delayed point is kept, so that a heap of frames held back for long is one point among many. The median
of the slopes between points far apart (Theil and Sen) is the oscillators' ratio, and the offset is the greatest that
leaves no kept point of late below the line.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from firmware_bridge.frames import MICROS_MODULUS

BUCKET_S = 1.0
BUCKETS = 64
RECENT = 16
LEAST_FOR_SLOPE = 8
MAX_RATIO_ERROR = 0.01
"""A ceramic resonator is good to 0.5 %, a crystal far better; a ratio beyond twice that is an artefact."""
MAX_STEP_BACK_S = 1.0
"""Sensors sampled together may be sent in either order; a counter that goes back by more has begun anew."""


class BoardClock:
    """Maps board micros to host monotonic seconds through counter wraps and oscillator drift.

    reset_step_s: a sample that would have been taken so long after its own arrival is of a counter that began anew.
    """

    def __init__(self, reset_step_s: float = 5.0) -> None:
        self.resets = 0
        self._reset_step_s = reset_step_s
        self._last_t_s = float("-inf")
        self.forget()

    def forget(self) -> None:
        """The counter may mean something new: the board has booted or the link was opened."""
        self._last_micros: int | None = None
        self._board_s = self._bucket_began = 0.0
        self._ratio = 1.0
        self._offset_s = float("inf")
        self._kept: deque[tuple[float, float]] = deque(maxlen=BUCKETS)

    @property
    def ratio(self) -> float:
        """Host seconds to a board second."""
        return self._ratio

    def map(self, micros: int, arrival_s: float) -> float:
        """Host time (s) of the sample stamped `micros` that arrived at `arrival_s`; never later than its arrival, never
        earlier than the last one mapped."""
        if not self._plausible(micros, arrival_s):
            self.resets += 1
            self.forget()
        self._board_s += self._step_s(micros)
        self._last_micros = micros
        self._keep(self._board_s, arrival_s)
        self._last_t_s = max(min(self._host(self._board_s), arrival_s), self._last_t_s)
        return self._last_t_s

    def _plausible(self, micros: int, arrival_s: float) -> bool:
        step_s = self._step_s(micros)
        early_s = self._host(self._board_s + step_s) - arrival_s if self._kept else 0.0
        return step_s >= -MAX_STEP_BACK_S and early_s <= self._reset_step_s

    def _step_s(self, micros: int) -> float:
        """Board seconds since the last sample, negative when this one is older."""
        if self._last_micros is None:
            return 0.0
        step = (micros - self._last_micros) % MICROS_MODULUS
        return (step if step < MICROS_MODULUS // 2 else step - MICROS_MODULUS) * 1e-6

    def _host(self, board_s: float) -> float:
        return board_s * self._ratio + self._offset_s

    def _delay(self, board_s: float, arrival_s: float) -> float:
        return arrival_s - board_s * self._ratio

    def _keep(self, board_s: float, arrival_s: float) -> None:
        """Take the point into its bucket if it is the least delayed there; fit anew when a bucket is complete."""
        delay = self._delay(board_s, arrival_s)
        if not self._kept or arrival_s >= self._bucket_began + BUCKET_S:
            if len(self._kept) >= LEAST_FOR_SLOPE:
                self._fit()
                delay = self._delay(board_s, arrival_s)
            self._bucket_began = arrival_s
            self._kept.append((board_s, arrival_s))
        elif delay < self._delay(*self._kept[-1]):
            self._kept[-1] = (board_s, arrival_s)
        self._offset_s = min(self._offset_s, delay)

    def _fit(self) -> None:
        board, arrival = np.array(self._kept).T
        early, late = np.triu_indices(len(board), len(board) // 2)
        slope = float(np.median((arrival[late] - arrival[early]) / (board[late] - board[early])))
        self._ratio = min(max(slope, 1.0 - MAX_RATIO_ERROR), 1.0 + MAX_RATIO_ERROR)
        self._offset_s = float(np.min((arrival - board * self._ratio)[-RECENT:]))
