"""DS18B20 probes as the kernel's one-wire driver shows them, in a folder of one's own."""

from __future__ import annotations

import os
from pathlib import Path

CRC_TABLE_POLYNOMIAL = 0x8C
"""x^8 + x^5 + x^4 + 1, bits reflected, as one-wire has it."""


def dallas_crc(data: bytes) -> int:
    """CRC-8 of a one-wire ROM or scratchpad (DS18B20 data sheet, "CRC Generation")."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (CRC_TABLE_POLYNOMIAL if crc & 1 else 0)
    return crc


def scratchpad(code: int) -> bytes:
    """The nine bytes of a probe at 12 bits that reads `code` (1/16 °C)."""
    data = code.to_bytes(2, "little", signed=True) + bytes([0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10])
    return data + bytes([dallas_crc(data)])


class OneWireFiles:
    """`folder` stands for /sys/bus/w1/devices. Every method takes a probe's number, such as "28-0316a2794bff"."""

    def __init__(self, folder: Path):
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def set_code(self, probe: str, code: int) -> None:
        """The probe reads `code`, 1/16 °C; 1360 is also what it gives after power-on."""
        self._write(probe, scratchpad(code), "YES", code)

    def garble(self, probe: str) -> None:
        """A bit was lost on the wire."""
        self._write(probe, bytes([0xFE]) + scratchpad(400)[1:], "NO", 400)

    def short(self, probe: str) -> None:
        """The wire lies at ground: nine zero bytes, which pass their checksum."""
        self._write(probe, bytes(9), "YES", 0)

    def unplug(self, probe: str) -> None:
        path = self._path(probe)
        path.unlink(missing_ok=True)
        if path.parent.is_dir():
            path.parent.rmdir()

    def hang(self, probe: str) -> None:
        """Reading blocks: the file is a pipe into which nobody writes. `unplug` or `set_code` ends it for new reads."""
        self.unplug(probe)
        self._path(probe).parent.mkdir()
        os.mkfifo(self._path(probe))

    def _path(self, probe: str) -> Path:
        return self.folder / probe / "w1_slave"

    def _write(self, probe: str, data: bytes, verdict: str, code: int) -> None:
        path = self._path(probe)
        path.parent.mkdir(exist_ok=True)
        line = data.hex(" ")
        text = f"{line} : crc={data[8]:02x} {verdict}\n{line} t={code * 1000 // 16}\n"
        new = path.with_suffix(".new")
        new.write_text(text, "ascii")
        new.replace(path)
