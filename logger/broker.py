"""A broker for the demonstration: one that answers already, else mosquitto, else an embedded one, else none."""

from __future__ import annotations

import contextlib
import shutil
import socket
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HOST, PORT = "127.0.0.1", 1883
ANSWER_S = 10.0
LARGEST_MESSAGE = 1 << 20


@dataclass(frozen=True, slots=True)
class DemoBroker:
    """Where to publish; `how` says in words which broker it is; `stop` ends it where we started it."""

    host: str
    port: int
    how: str
    stop: Callable[[], None]


def find_broker(folder: Path, port: int = PORT) -> DemoBroker | None:
    """The first that can be had; None without any. folder: where mosquitto's settings may be written."""
    if _answers(port):
        return DemoBroker(HOST, port, f"the broker that answers on port {port}", lambda: None)
    for start in (_mosquitto, _embedded):
        if broker := start(folder, port):
            return broker
    return None


def _mosquitto(folder: Path, port: int) -> DemoBroker | None:
    program = shutil.which("mosquitto") or shutil.which("/usr/sbin/mosquitto")
    if not program:
        return None
    settings = folder / "mosquitto.conf"
    settings.write_text(f"listener {port} {HOST}\nallow_anonymous true\npersistence false\n", encoding="utf-8")
    process = subprocess.Popen([program, "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    deadline = time.monotonic() + ANSWER_S
    while process.poll() is None and time.monotonic() < deadline:
        if _answers(port):
            return DemoBroker(HOST, port, f"mosquitto, started on port {port}", lambda: _end(process))
        time.sleep(0.05)
    _end(process)
    return None


def _embedded(_folder: Path, port: int) -> DemoBroker | None:
    """Of the optional extra `demo`."""
    try:
        from iotcore import Broker
    except ImportError:
        return None
    broker = Broker(port=port, listen=HOST, max_payload_size=LARGEST_MESSAGE)
    try:
        broker.start(ANSWER_S)
    except (OSError, RuntimeError):
        return None
    return DemoBroker(HOST, port, f"an embedded broker on port {port}", broker.stop)


def _end(process: subprocess.Popen) -> None:
    process.terminate()
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(5)


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex((HOST, port)) == 0
