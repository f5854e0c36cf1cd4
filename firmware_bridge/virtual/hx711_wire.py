"""What an emulated HX711 in another process is told: the load's code and the fault of the moment, in a shared file."""

from __future__ import annotations

import mmap
import os
import struct
from collections.abc import Mapping
from pathlib import Path

ENVIRONMENT = "TAREBOOK_VIRTUAL_HX711"
LAYOUT = struct.Struct("=iiid")
FAULTS = ("none", "stuck-high", "stuck-low", "hang")


class Hx711Wire:
    """One side's view. code: what the chip converts; fault: one of FAULTS; stall_every: after how many clock edges one
    lasts too long, 0 for never; rate_hz: 10 or 80 conversions a second."""

    def __init__(self, path: Path, rate_hz: float | None = None):
        """rate_hz: makes the file; None: it is there."""
        self._file = path.open("r+b" if rate_hz is None else "w+b")
        if rate_hz is not None:
            self._file.write(LAYOUT.pack(0, 0, 0, rate_hz))
            self._file.flush()
        self._map = mmap.mmap(self._file.fileno(), LAYOUT.size)
        self.environment: Mapping[str, str] = {ENVIRONMENT: str(path)}

    @classmethod
    def of_environment(cls) -> Hx711Wire:
        return cls(Path(os.environ[ENVIRONMENT]))

    def close(self) -> None:
        self._map.close()
        self._file.close()

    @property
    def code(self) -> int:
        return self._get()[0]

    @code.setter
    def code(self, code: int) -> None:
        self._put(0, code)

    @property
    def fault(self) -> str:
        return FAULTS[self._get()[1]]

    @fault.setter
    def fault(self, fault: str) -> None:
        self._put(1, FAULTS.index(fault))

    @property
    def stall_every(self) -> int:
        return self._get()[2]

    @stall_every.setter
    def stall_every(self, edges: int) -> None:
        self._put(2, edges)

    @property
    def rate_hz(self) -> float:
        return self._get()[3]

    def _get(self) -> tuple[int, int, int, float]:
        return LAYOUT.unpack_from(self._map)

    def _put(self, at: int, value: int) -> None:
        struct.pack_into("=i", self._map, 4 * at, value)
