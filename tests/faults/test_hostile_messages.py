"""What anybody may publish on the broker: the cart answers what makes sense, and goes on after what does not."""

from __future__ import annotations

import json
import random

import paho.mqtt.client as paho
import pytest
from bench_cart import until
from fuzzing import spoiled
from paho.mqtt.enums import CallbackAPIVersion

from logger.incoming import read_head, read_list
from logger.publish.broker_link import BrokerSettings
from logger.publish.handing_out import handing_out, head_of, read_ask

ASK = json.dumps({"session_id": "s-1", "chunks": [0, 1]}).encode()
NASTY = [
    b"",
    b"\xff\xfe\0",
    b"[" * 200_000,
    b'{"session_id": ' + b"[" * 100_000,
    b'{"session_id": "\\ud800"}',
    b'{"session_id": "a/#/+\\u0000\\n"}',
    json.dumps({"session_id": "x" * 200_000}).encode(),
    b'{"session_id": "s-1", "chunks": [1e999, -1]}',
    b'{"session_id": "s-1", "chunks": {"0": 1}}',
    b'{"session_id": "s-1", "chunks": [' + b"9" * 4000 + b"]}",
    b'{"session_id": null, "chunks": null}',
]


class Shelf:
    """One session of a few bytes."""

    def versions(self) -> dict[str, str]:
        return {"s-1": "1"}

    def file(self, session_id: str) -> bytes:
        return b"one session"


@pytest.fixture
def asker(mosquitto):
    """A cart that hands out on a real broker, and a client that asks; `answers` is what came, topic by topic."""
    cart = handing_out(BrokerSettings("127.0.0.1", mosquitto.port), "cart-1", Shelf())
    client, answers = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5), []
    client.on_message = lambda _c, _u, message: answers.append((message.topic, message.payload))
    client.connect("127.0.0.1", mosquitto.port)
    client.subscribe("tarebook/cart-1/#", qos=1)
    client.loop_start()
    cart.start()
    until(lambda: any(topic.endswith("/recordings") for topic, _ in answers))
    yield client, answers
    client.loop_stop()
    client.disconnect()
    cart.stop()


def test_a_cart_that_was_asked_nonsense_still_answers_sense(asker):
    client, answers = asker
    for payload in NASTY:
        client.publish("tarebook/cart-1/recordings/ask", payload, qos=1)
    client.publish("tarebook/cart-1/recordings/ask", ASK, qos=1)
    until(lambda: ("tarebook/cart-1/recording/s-1/0", b"one session") in answers)


@pytest.mark.parametrize("payload", NASTY, ids=range(len(NASTY)))
def test_what_is_nasty_is_an_ask_or_none_a_list_or_empty_a_head_or_one_line(payload):
    _try_all(payload)


def test_what_is_spoiled_is_too():
    rng = random.Random(4)
    for _ in range(1500):
        for good in (ASK, json.dumps({"version": "1", **head_of(b"x" * 70_000)}).encode(), b'{"sessions": {"s": "1"}}'):
            _try_all(spoiled(good, rng))


def _try_all(payload: bytes) -> None:
    ask = read_ask(payload)
    assert ask is None or (isinstance(ask[0], str) and all(type(k) is int for k in ask[1]))
    assert all(isinstance(each, str) for pair in read_list(payload).items() for each in pair)
    try:
        head = read_head(payload)
    except ValueError as error:
        assert str(error)
    else:
        assert len(head.crc32) == -(-head.size // head.chunk_bytes)
