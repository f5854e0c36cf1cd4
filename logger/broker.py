"""A broker for the demonstration: one that answers, else one started here and ended with it."""

from __future__ import annotations

import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LOOPBACK = "127.0.0.1"
USUAL_PORT = 1883
ANSWER_S = 5.0
_CONNACK = 0x20


@dataclass(slots=True)
class DemoBroker:
    """A broker to use, and how it came about. `stop` ends it if it was started here; harmless twice."""

    host: str
    port: int
    said: str
    _end: Callable[[], None] | None = None

    def stop(self) -> None:
        end, self._end = self._end, None
        if end is not None:
            end()


def demo_broker(host: str = "localhost", port: int = USUAL_PORT) -> DemoBroker | None:
    """A broker that answers at host:port, else mosquitto if the machine has it, else the embedded one of the extra
    [demo]; None when there is none of them: everything but the messages works without."""
    if answers(host, port):
        return DemoBroker(host, port, f"the broker that answers at {host}:{port}")
    return _mosquitto() or _embedded()


def answers(host: str, port: int, timeout_s: float = 1.0) -> bool:
    """Whether a broker is there: it answers an MQTT CONNECT (3.1.1, section 3.1) with any CONNACK."""
    client_id = b"tarebook-probe"
    body = b"\x00\x04MQTT\x04\x02\x00\x0a" + len(client_id).to_bytes(2, "big") + client_id
    try:
        with socket.create_connection((host, port), timeout_s) as connection:
            connection.settimeout(timeout_s)
            connection.sendall(bytes([0x10, len(body)]) + body)
            answer = connection.recv(4)
            connection.sendall(b"\xe0\x00")
            return answer[:1] == bytes([_CONNACK])
    except OSError:
        return False


def _mosquitto() -> DemoBroker | None:
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if program is None:
        return None
    port, folder = _free_port(), tempfile.TemporaryDirectory(prefix="tarebook-broker-")
    config = Path(folder.name) / "mosquitto.conf"
    config.write_text(f"listener {port} {LOOPBACK}\nallow_anonymous true\npersistence false\n", "utf-8")
    process = subprocess.Popen([program, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def end() -> None:
        process.terminate()
        process.wait(5)
        folder.cleanup()

    said = f"mosquitto, started for this demonstration at {LOOPBACK}:{port}"
    return _when_it_answers(DemoBroker(LOOPBACK, port, said, end))


def _embedded() -> DemoBroker | None:
    try:
        from iotcore import Broker
    except ImportError:
        return None
    port = _free_port()
    broker = Broker(port=port, listen=LOOPBACK)
    broker.start()
    said = f"an embedded broker in a process of its own at {LOOPBACK}:{port}"
    return _when_it_answers(DemoBroker(LOOPBACK, port, said, broker.stop))


def _when_it_answers(broker: DemoBroker) -> DemoBroker | None:
    until = time.monotonic() + ANSWER_S
    while time.monotonic() < until:
        if answers(broker.host, broker.port, 0.5):
            return broker
        time.sleep(0.05)
    broker.stop()
    return None


def _free_port(usual: int = USUAL_PORT) -> int:
    """The port where everybody looks for a broker, or any that is free."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, usual))
        except OSError:
            probe.bind((LOOPBACK, 0))
        return probe.getsockname()[1]
