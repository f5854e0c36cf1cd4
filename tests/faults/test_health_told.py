"""/healthz and /metrics tell the truth: a part that has stopped makes them say so."""

from __future__ import annotations

import json
import threading

import pytest
from bench_cart import SETUP, BenchCart, until
from brokers import free_port

from logger.daemon import Daemon
from web.app import create_app


@pytest.fixture
def running(tmp_path):
    bench = BenchCart(tmp_path / "cart")
    daemon = Daemon(bench.cart(mqtt_port=free_port()), tmp_path / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    yield daemon, create_app(daemon.port, tmp_path / "data").test_client()
    daemon.stop()
    bench.stop()


def test_all_is_well_while_readings_are_judged_and_kept(running):
    _, client = running
    parts = client.get("/healthz").get_json()["parts"]
    assert set(parts) >= {"engine", "recorder", "feed", "board", "housekeeping", "messages", "buzzer"}
    assert set(parts.values()) == {"ok"}
    for part in parts:
        assert f'tarebook_part_well{{part="{part}"}} 1' in client.get("/metrics").text


def test_a_thread_that_hangs_while_it_judges_is_told(running):
    daemon, client = running
    free = threading.Event()
    threading.Thread(target=lambda: daemon._engine.call(lambda run: free.wait(20)), daemon=True).start()
    answer = until(lambda: client.get("/healthz").status_code == 503 and client.get("/healthz"))
    assert "judged" in json.loads(answer.data)["detail"]
    for part in ("engine", "feed"):
        assert f'tarebook_part_well{{part="{part}"}} 0' in client.get("/metrics").text
    free.set()
    until(lambda: client.get("/healthz").status_code == 200)


def test_a_recorder_that_has_ended_is_told(running):
    daemon, client = running
    daemon._recorder.stop()
    answer = client.get("/healthz")
    assert answer.status_code == 503 and "keeps readings" in json.loads(answer.data)["detail"]


@pytest.mark.parametrize("part", ["messages", "board"])
def test_a_thread_that_has_ended_is_told_and_becomes_an_alert(running, part):
    daemon, client = running
    if part == "messages":
        daemon._mqtt.stop()
    else:
        daemon._readers[0]._stop = threading.Event()
        daemon._readers[0]._stop.set()
        daemon._readers[0].join(10)
    answer = client.get("/healthz")
    assert answer.status_code == 503 and f"{part}: its thread has ended" in json.loads(answer.data)["detail"]
    assert f'tarebook_part_well{{part="{part}"}} 0' in client.get("/metrics").text
    until(lambda: [a for a in daemon.port.now()["alerts"] if (a["code"], a["subject"]) == ("part-unwell", part)])


def test_a_disk_that_keeps_one_waiting_is_told_and_what_waits_is_kept(running, monkeypatch):
    daemon, client = running
    free, run = threading.Event(), daemon._store._run
    monkeypatch.setattr(daemon._store, "_run", lambda statements: (free.wait(60), run(statements)))
    until(lambda: [a for a in daemon.port.now()["alerts"] if (a["code"], a["subject"]) == ("storage-low", "disk")])
    assert "for the disk" in json.loads(client.get("/healthz").data)["detail"]
    assert daemon.broker_status and not daemon._engine.trouble()
    free.set()
    until(lambda: client.get("/healthz").status_code == 200)
    assert daemon._recorder.flush(20)
