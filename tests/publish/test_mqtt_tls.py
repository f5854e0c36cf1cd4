"""The cart on a real broker under TLS: it goes in where the certificate is the broker's, and nowhere else."""

from __future__ import annotations

import json
import socket
import subprocess
import sys

import pytest
import trustme
from listener import Listener
from test_mqtt import NOW, MemoryOutbox, until

from logger.publish.broker_link import BrokerSettings
from logger.publish.mqtt import MqttPublisher

CA = trustme.CA()


@pytest.fixture
def tls_broker(mosquitto, tmp_path):
    """The fixture's broker with a second door under TLS; the port of that, and the one in clear beside it."""

    def serve(*names: str):
        made = CA.issue_cert(*names)
        for file, blob in (("broker.pem", made.cert_chain_pems[0]), ("broker.key", made.private_key_pem)):
            (tmp_path / file).write_bytes(blob.bytes())
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        lines = [f"listener {port} 127.0.0.1", f"certfile {tmp_path}/broker.pem", f"keyfile {tmp_path}/broker.key"]
        mosquitto.stop()
        mosquitto.config.write_text("\n".join([mosquitto.config.read_text().rstrip(), *lines, "user root"]) + "\n")
        mosquitto.start()
        return port, mosquitto.port

    return serve


@pytest.fixture
def publish(tmp_path):
    running = []
    ca_file = tmp_path / "ca.pem"

    def to(port, ca=CA, **settings):
        ca_file.write_bytes(ca.cert_pem.bytes())
        settings = BrokerSettings("127.0.0.1", port, **{"tls": True, "ca_file": str(ca_file), **settings})
        running.append(MqttPublisher(settings, "c", MemoryOutbox(), lambda: NOW, dict))
        running[-1].start()
        return running[-1]

    yield to
    for publisher in running:
        publisher.stop()


def test_messages_arrive_through_tls(tls_broker, publish):
    encrypted, clear = tls_broker("127.0.0.1")
    live = Listener(clear)
    publisher = publish(encrypted)
    assert live.wait_for(lambda: live.payloads("/now"))
    assert json.loads(live.payloads("/now")[0]) == NOW and publisher.status.endswith("MQTT 5")
    live.close()


@pytest.mark.parametrize("fault", ["another authority", "another name", "in clear"])
def test_no_password_goes_to_a_broker_that_is_not_the_one_meant(fault, tls_broker, publish, tmp_path):
    encrypted, _ = tls_broker("elsewhere.example" if fault == "another name" else "127.0.0.1")
    how = {"another authority": {"ca": trustme.CA()}, "in clear": {"tls": False, "ca_file": None}}.get(fault, {})
    publisher = publish(encrypted, **how)
    assert until(lambda: publisher.status != "not connected yet")
    assert not until(lambda: publisher.connected, seconds=1.5)
    assert "\n" not in publisher.status and "Traceback" not in publisher.status


def test_a_collector_reads_a_broker_under_tls(tls_broker, tmp_path):
    """The command that gathers carts takes the same settings; without the authority it says in one line why not."""
    encrypted, _ = tls_broker("127.0.0.1")
    command = [sys.executable, "-m", "logger.cli", "collect", "--broker", f"127.0.0.1:{encrypted}", "--tls"]
    command += ["--into", str(tmp_path / "all"), "--ca-file", str(tmp_path / "none.pem")]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert ended.returncode == 2 and len(ended.stderr.splitlines()) == 1 and "none.pem" in ended.stderr


@pytest.mark.parametrize(("mode", "told"), [(0o600, 0), (0o640, 0), (0o644, 1)])
def test_a_password_that_all_may_read_is_told_of_and_never_said(tmp_path, caplog, mode, told):
    file = tmp_path / "password"
    file.write_text("wrench-in-the-drawer\n")
    file.chmod(mode)
    assert BrokerSettings("127.0.0.1", username="u", password_file=str(file)).password() == "wrench-in-the-drawer"
    assert caplog.text.count("everybody on this machine can read") == told and "wrench" not in caplog.text
