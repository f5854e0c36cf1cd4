"""A broker of the tests' own, that can go and come back."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from pathlib import Path


def free_port() -> int:
    """A TCP port of 127.0.0.1 that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Broker:
    """A mosquitto that can be stopped and started again on the same port. anonymous: it lets in whoever comes."""

    def __init__(self, folder: Path, anonymous: bool = True):
        self.port = free_port()
        self.config = folder / "mosquitto.conf"
        door = f"listener {self.port} 127.0.0.1\nallow_anonymous {str(anonymous).lower()}\n"
        self.config.write_text(door + "persistence false\n")
        self._process: subprocess.Popen | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [shutil.which("mosquitto") or "mosquitto", "-c", str(self.config)]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise RuntimeError(f"mosquitto does not answer on port {self.port}")

    def stop(self) -> None:
        """End it, by its own process; harmless when it does not run."""
        if self._process:
            self._process.terminate()
            self._process.wait(10)
            self._process = None
