"""Which broker the demonstration uses: one that is there, one it starts, one it carries."""

from __future__ import annotations

import shutil
import socket

import pytest

from logger import broker
from logger.broker import answers, demo_broker


@pytest.fixture
def found():
    brokers = []

    def look(*place):
        brokers.append(demo_broker(*place))
        return brokers[-1]

    yield look
    for each in brokers:
        if each:
            each.stop()


@pytest.fixture
def nowhere():
    """A port on which nothing listens, held so that nobody else takes it."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        yield "127.0.0.1", held.getsockname()[1]


def test_one_that_answers_is_used_and_left_alone(mosquitto, found):
    used = found("127.0.0.1", mosquitto.port)
    assert (used.port, "answers" in used.said) == (mosquitto.port, True)
    used.stop()
    assert answers("127.0.0.1", mosquitto.port)


@pytest.mark.skipif(not shutil.which("mosquitto"), reason="mosquitto is not installed")
def test_else_mosquitto_is_started_and_ended(found, nowhere):
    used = found(*nowhere)
    assert "mosquitto" in used.said and answers(used.host, used.port)
    used.stop()
    assert not answers(used.host, used.port)
    used.stop()


def test_else_the_embedded_one(found, nowhere, monkeypatch):
    pytest.importorskip("iotcore")
    monkeypatch.setattr(broker.shutil, "which", lambda *a, **k: None)
    used = found(*nowhere)
    assert "embedded" in used.said and answers(used.host, used.port)
    used.stop()
    assert not answers(used.host, used.port)


def test_what_listens_but_is_no_broker_is_not_taken():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        assert not answers("127.0.0.1", listener.getsockname()[1], 0.2)
