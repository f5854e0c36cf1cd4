"""The cart on a real broker: what is retained, the will, and alerts that arrive once though the broker went away."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import threading
import time

import pytest
from listener import Listener

from logger.publish.broker_link import BrokerSettings
from logger.publish.mqtt import MqttPublisher

NOW = {
    "t_utc": "2026-05-04T09:30:00Z",
    "clock_trusted": True,
    "session_id": "s-1",
    "stage": "charging",
    "refrigerant": "R-134a",
    "channels": {"scale": {"value": 1500.0, "unit": "g", "age_s": 0.1, "quality": "good"}},
    "charge": {"target_g": 620.0, "delivered_g": 200.0, "remaining_g": 420.0},
    "alerts": [],
}


class MemoryOutbox:
    def __init__(self):
        self.alerts: dict[int, dict] = {}
        self.lock = threading.Lock()

    def put(self, seq):
        with self.lock:
            alert = {"cart_id": "c", "session_id": "s-1", "seq": seq, "t_s": seq * 1.5, "code": "stop-charging"}
            self.alerts[1000 + seq] = {**alert, "severity": "notice", "message": "close"}

    def pending(self, limit=100):
        with self.lock:
            return sorted(self.alerts.items())[:limit]

    def done(self, place):
        with self.lock:
            del self.alerts[place]


@pytest.fixture
def publisher_to():
    running = []

    def make(port, outbox=None, findings=lambda: None, **settings):
        settings = BrokerSettings("127.0.0.1", port, **settings)
        publisher = MqttPublisher(settings, "c", outbox or MemoryOutbox(), lambda: NOW, findings)
        publisher.start()
        running.append(publisher)
        return publisher

    yield make
    for publisher in running:
        publisher.stop()


@pytest.fixture
def listen():
    listeners = []

    def make(port):
        listeners.append(Listener(port))
        return listeners[-1]

    yield make
    for listener in listeners:
        listener.close()


def until(condition, seconds=30):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


def test_topics_payloads_and_what_is_retained(mosquitto, publisher_to, listen):
    live = listen(mosquitto.port)
    outbox = MemoryOutbox()
    outbox.put(7)
    publisher = publisher_to(mosquitto.port, outbox, lambda: {"session_id": "s-0"})
    assert live.wait_for(
        lambda: {t.split("/", 2)[2] for t, *_ in live.heard} >= {"now", "alert", "findings", "session"}
    )
    assert json.loads(live.payloads("/now")[0]) == NOW
    alert = json.loads(live.payloads("/alert")[0])
    assert (alert["cart_id"], alert["session_id"], alert["seq"], alert["code"]) == ("c", "s-1", 7, "stop-charging")
    assert publisher.status.endswith("MQTT 5")
    late = listen(mosquitto.port)
    wanted = {"tarebook/c/status", "tarebook/c/channel/scale", "tarebook/c/session", "tarebook/c/findings"}
    assert late.wait_for(lambda: {t for t, _, retained, _ in late.heard if retained} == wanted)
    kept = {topic: payload for topic, payload, retained, _ in late.heard if retained}
    assert kept["tarebook/c/status"] == "online"
    scale = json.loads(kept["tarebook/c/channel/scale"])
    assert (scale["value"], scale["unit"], scale["quality"], scale["t_utc"]) == (1500.0, "g", "good", NOW["t_utc"])
    session = json.loads(kept["tarebook/c/session"])
    assert (session["session_id"], session["stage"], session["target_g"], session["delivered_g"]) == (
        "s-1",
        "charging",
        620.0,
        200.0,
    )
    qos = {topic: qos for topic, _, _, qos in live.heard}
    assert qos["tarebook/c/alert"] == 1 and qos["tarebook/c/now"] == 0 and qos["tarebook/c/session"] == 1


def test_every_alert_arrives_once_though_the_broker_was_killed(mosquitto, publisher_to, listen):
    live, outbox = listen(mosquitto.port), MemoryOutbox()
    publisher = publisher_to(mosquitto.port, outbox)
    for seq in (1, 2):
        outbox.put(seq)
    assert live.wait_payloads("/alert", lambda found: len(found) == 2)
    mosquitto.stop()
    assert until(lambda: not publisher.connected)
    for seq in range(3, 43):
        outbox.put(seq)
    mosquitto.start()
    assert live.wait_payloads("/alert", lambda found: len(found) >= 42)
    assert until(lambda: not outbox.alerts)
    outbox.put(43)
    assert live.wait_payloads("/alert", lambda found: len(found) >= 43)
    assert [json.loads(payload)["seq"] for payload in live.payloads("/alert")] == list(range(1, 44))


def test_alerts_from_before_there_was_a_broker(mosquitto, publisher_to, listen):
    mosquitto.stop()
    outbox = MemoryOutbox()
    publisher = publisher_to(mosquitto.port, outbox)
    outbox.put(1)
    assert until(lambda: "does not answer" in publisher.status)
    mosquitto.start()
    live = listen(mosquitto.port)  # it comes about as late as the publisher does, and must still hear it
    assert live.wait_payloads("/alert", lambda found: found)
    assert until(lambda: not outbox.alerts)


CHILD = """
import sys, time
from logger.publish.broker_link import BrokerSettings
from logger.publish.mqtt import MqttPublisher
class Nothing:
    def pending(self, limit=100): return []
    def done(self, place): pass
publisher = MqttPublisher(BrokerSettings("127.0.0.1", int(sys.argv[1])), "c", Nothing(), dict, lambda: None)
publisher.start()
sys.stdin.readline()
publisher.stop()
"""


@pytest.fixture
def child(mosquitto):
    process = subprocess.Popen([sys.executable, "-c", CHILD, str(mosquitto.port)], stdin=subprocess.PIPE, text=True)
    yield process
    process.kill()
    process.wait()
    process.stdin.close()


def test_the_will_speaks_for_a_killed_program(mosquitto, listen, child):
    live = listen(mosquitto.port)
    assert live.wait_payloads("/status", lambda said: said[-1:] == ["online"])
    child.send_signal(signal.SIGKILL)
    assert live.wait_payloads("/status", lambda said: said[-1:] == ["offline"])
    late = listen(mosquitto.port)
    assert late.wait_for(lambda: ("tarebook/c/status", "offline", True, 1) in late.heard)


def test_a_program_that_ends_says_so_once(mosquitto, listen, child):
    live = listen(mosquitto.port)
    assert live.wait_payloads("/status", lambda said: said[-1:] == ["online"])
    child.stdin.write("\n")
    child.stdin.flush()
    assert child.wait(20) == 0
    assert live.wait_payloads("/status", lambda said: said[-1:] == ["offline"])
    assert live.payloads("/status").count("offline") == 1


class OldBroker:
    """Refuses MQTT 5 in one of the ways brokers do, and acknowledges a 3.1.1 connection."""

    def __init__(self, manner):
        self.manner, self.seen = manner, []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.listener.settimeout(0.1)
        self.port = self.listener.getsockname()[1]
        self.stopping = threading.Event()
        self.open = []
        self.thread = threading.Thread(target=self.run)
        self.thread.start()

    def run(self):
        while not self.stopping.is_set():
            try:
                connection, _ = self.listener.accept()
            except TimeoutError:
                continue
            connect = connection.recv(4096)
            version = connect[8] if len(connect) > 8 else None
            self.seen.append(version)
            self.open.append(connection)
            if version == 4:
                connection.sendall(bytes([0x20, 2, 0, 0]))
            elif self.manner == "refuses":
                connection.sendall(bytes([0x20, 2, 0, 1]))
            elif self.manner == "hangs up":
                connection.close()

    def close(self):
        self.stopping.set()
        self.thread.join()
        for connection in [*self.open, self.listener]:
            connection.close()


@pytest.mark.parametrize("manner", ["refuses", "hangs up", "says nothing"])
def test_falls_back_to_3_1_1(manner, publisher_to):
    """OASIS MQTT 3.1.1, 3.2.2.3: return code 1 is `unacceptable protocol version`; protocol levels are 5 and 4."""
    broker = OldBroker(manner)
    publisher = publisher_to(broker.port)
    connected = until(lambda: publisher.connected)
    status = publisher.status
    broker.close()
    assert connected and status.endswith("MQTT 3.1.1")
    assert broker.seen[0] == 5 and broker.seen[-1] == 4


def test_password_and_certificates_that_cannot_be_read_are_one_line(tmp_path, publisher_to):
    for settings in ({"username": "u", "password_file": str(tmp_path / "none")}, {"tls": True, "ca_file": "/none"}):
        with pytest.raises(ValueError, match="none") as error:
            publisher_to(1, **settings)
        assert "\n" not in str(error.value)


def test_enters_with_a_password_and_waits_when_it_is_wrong(tmp_path, mosquitto, publisher_to):
    secrets = tmp_path / "users"
    subprocess.run(["mosquitto_passwd", "-b", "-c", secrets, "cart", "right"], check=True)
    mosquitto.stop()
    text = mosquitto.config.read_text().replace(
        "allow_anonymous true", f"allow_anonymous false\npassword_file {secrets}"
    )
    mosquitto.config.write_text(text + "user root\n")
    mosquitto.start()
    passwords = tmp_path / "right", tmp_path / "wrong"
    for file in passwords:
        file.write_text(file.name + "\n")
    good = publisher_to(mosquitto.port, username="cart", password_file=str(passwords[0]))
    assert until(lambda: good.connected)
    good.stop()
    bad = publisher_to(mosquitto.port, username="cart", password_file=str(passwords[1]))
    assert until(lambda: "refuses" in bad.status)
    assert not bad.connected
