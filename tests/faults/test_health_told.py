"""/healthz and /metrics tell the truth: a part that has stopped makes them say so."""

from __future__ import annotations

import json
import threading

import pytest
from bench_cart import SETUP, BenchCart, until

from logger.daemon import Daemon
from web.app import create_app


@pytest.fixture
def running(tmp_path):
    bench = BenchCart(tmp_path / "cart")
    daemon = Daemon(bench.cart(), tmp_path / "data", clock=bench.clock, open_setup=SETUP)
    daemon.start()
    yield daemon, create_app(daemon.port, tmp_path / "data").test_client()
    daemon.stop()
    bench.stop()


def test_all_is_well_while_readings_are_judged_and_kept(running):
    _, client = running
    assert client.get("/healthz").get_json()["parts"] == {"engine": "ok", "recorder": "ok"}
    assert 'tarebook_part_well{part="recorder"} 1' in client.get("/metrics").text


def test_a_thread_that_hangs_while_it_judges_is_told(running):
    daemon, client = running
    free = threading.Event()
    threading.Thread(target=lambda: daemon._engine.call(lambda run: free.wait(20)), daemon=True).start()
    answer = until(lambda: client.get("/healthz").status_code == 503 and client.get("/healthz"))
    assert "judged" in json.loads(answer.data)["detail"]
    assert 'tarebook_part_well{part="engine"} 0' in client.get("/metrics").text
    free.set()
    until(lambda: client.get("/healthz").status_code == 200)


def test_a_recorder_that_has_ended_is_told(running):
    daemon, client = running
    daemon._recorder.stop()
    answer = client.get("/healthz")
    assert answer.status_code == 503 and "keeps readings" in json.loads(answer.data)["detail"]
