"""What can be made ill about the host of one logger process, from outside: its disk, its wall clock, its limits."""

from __future__ import annotations

import errno
import mmap
import os
import resource
import signal
import struct
import subprocess
from pathlib import Path

SHIM = Path(__file__).with_name("host_shim.c")
DISK = {"full": errno.ENOSPC, "read-only": errno.EROFS, "failing": errno.EIO}
WALL, WRITES, SYNCS = range(3)


class HostIlls:
    """`environment` is for the process that is to suffer; the same ills meet the next process with it.

    folder: where the shim and its numbers lie. disk: files below this folder are on the ill disk.
    """

    def __init__(self, folder: Path, disk: Path):
        library, block = folder / "host_shim.so", folder / "host_ills"
        subprocess.run(["gcc", "-shared", "-fPIC", "-O1", "-o", library, SHIM, "-ldl"], check=True)
        block.write_bytes(bytes(24))
        with block.open("r+b") as file:
            self._numbers = mmap.mmap(file.fileno(), 24)
        told = {"LD_PRELOAD": str(library), "HOST_FAULTS_BLOCK": str(block), "HOST_FAULTS_FOLDER": str(disk)}
        self.environment = {**os.environ, **told}

    def step_wall_clock(self, to_s: float) -> None:
        """The wall clock shows so many seconds more than it should."""
        self._set(WALL, int(to_s * 1e9))

    def disk(self, state: str) -> None:
        """ "full", "read-only", "failing", or "well"."""
        self._set(WRITES, DISK.get(state, 0))

    def slow_syncs(self, seconds: float) -> None:
        """Each sync takes so much longer."""
        self._set(SYNCS, int(seconds * 1000))

    def _set(self, place: int, number: int) -> None:
        struct.pack_into("q", self._numbers, 8 * place, number)


def leave_memory(pid: int, spare_bytes: int) -> None:
    """The process may have so much address space more than it has; hardly more is the same as none left on the host."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[0])
    _limit(pid, resource.RLIMIT_AS, pages * resource.getpagesize() + spare_bytes)


def leave_descriptors(pid: int, spare: int) -> None:
    """The process may open so many files and sockets more than it has open."""
    highest = max(int(each) for each in os.listdir(f"/proc/{pid}/fd"))
    _limit(pid, resource.RLIMIT_NOFILE, highest + 1 + spare)


def lift_limits(pid: int) -> None:
    for what in (resource.RLIMIT_AS, resource.RLIMIT_NOFILE):
        _limit(pid, what, resource.prlimit(pid, what)[1])


def _limit(pid: int, what: int, soft: int) -> None:
    resource.prlimit(pid, what, (soft, resource.prlimit(pid, what)[1]))


def hang(pid: int) -> None:
    """The process gets no time: what a host that swaps, or an overfull one, comes to."""
    os.kill(pid, signal.SIGSTOP)


def go_on(pid: int) -> None:
    os.kill(pid, signal.SIGCONT)
