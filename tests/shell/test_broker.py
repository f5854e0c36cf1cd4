"""Which broker the demonstration gets."""

from __future__ import annotations

import importlib.util
import shutil
import socket

import pytest

from logger import broker as brokers


def port_that_is_free() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def test_one_that_answers_is_used_and_left_alone(mosquitto, tmp_path):
    found = brokers.find_broker(tmp_path, mosquitto.port)
    assert found.port == mosquitto.port and "answers" in found.how
    found.stop()
    assert answers(mosquitto.port)


@pytest.mark.skipif(not shutil.which("mosquitto"), reason="mosquitto is not installed")
def test_mosquitto_is_started_where_there_is_one(tmp_path):
    port = port_that_is_free()
    found = brokers.find_broker(tmp_path, port)
    assert "mosquitto" in found.how and answers(port)
    found.stop()
    assert not answers(port)


@pytest.mark.skipif(not importlib.util.find_spec("iotcore"), reason="the extra `demo` is not installed")
def test_the_embedded_one_stands_in(tmp_path, monkeypatch):
    monkeypatch.setattr(brokers.shutil, "which", lambda _name: None)
    port = port_that_is_free()
    found = brokers.find_broker(tmp_path, port)
    assert "embedded" in found.how and answers(port)
    found.stop()
    assert not answers(port)
