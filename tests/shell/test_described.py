"""A running cart held against what it says of itself: AsyncAPI on a real broker, OpenAPI over real HTTP."""

from __future__ import annotations

import json
import re
import threading
import urllib.request
from importlib.metadata import version

import paho.mqtt.client as mqtt
import pytest
from bench_cart import SETUP, BenchCart, until
from jsonschema import Draft202012Validator
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

from logger.cli import main
from logger.daemon import Daemon

MQTT_MORE = 'discovery = "homeassistant"\nsparkplug = "shop"'


class Everything:
    """All that a broker hands on, with the flags as they were published."""

    def __init__(self, port: int):
        self.heard: list[mqtt.MQTTMessage] = []
        self._ready = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.on_message = lambda _c, _u, message: self.heard.append(message)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.connect("127.0.0.1", port)
        self._client.subscribe("#", options=SubscribeOptions(qos=2, retainAsPublished=True))
        self._client.loop_start()
        assert self._ready.wait(10)

    def topics(self) -> set[str]:
        return {message.topic for message in self.heard}

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def fetch(url: str) -> dict:
    with urllib.request.urlopen(url, timeout=20) as answer:
        return json.loads(answer.read())


@pytest.fixture(scope="module")
def day(tmp_path_factory, module_mosquitto):
    """A cart that fills, closes its session and has it gathered: all it said, its documents, its pages' address."""
    folder, broker = tmp_path_factory.mktemp("day"), module_mosquitto
    ear = Everything(broker.port)
    bench = BenchCart(folder / "cart", speed=10.0)
    daemon = Daemon(bench.cart(broker.port, MQTT_MORE), folder / "data", "127.0.0.1:0", bench.clock, SETUP)
    daemon.start()
    try:
        until(lambda: daemon.port.now()["t_s"] > 8)
        daemon.port.mark({"mark": "stage", "detail": {"stage": "charging"}})
        bench.flow_g_per_s = 12.0
        until(lambda: daemon.port.now()["charge"]["delivered_g"] > 320)
        bench.flow_g_per_s = 0.0
        daemon.port.close_session()
        until(lambda: {"tarebook/bench/alert", "tarebook/bench/findings"} <= ear.topics())
        assert main(["collect", "--broker", f"127.0.0.1:{broker.port}", "--into", str(folder / "all")]) == 0
        until(lambda: any("/recording/" in topic for topic in ear.topics()))
        yield ear.heard, daemon.url.rstrip("/")
    finally:
        daemon.stop()
        ear.close()
        bench.stop()


@pytest.fixture(scope="module")
def messages(day):
    return fetch(f"{day[1]}/api/asyncapi.json")


def channel_of(document: dict, topic: str) -> str:
    for name, channel in document["channels"].items():
        if re.fullmatch(re.sub(r"\\?\{\w+\\?\}", "[^/]+", channel["address"]), topic):
            return name
    raise AssertionError(f"{topic} is not in the document")


def ours(day) -> list[mqtt.MQTTMessage]:
    return [message for message in day[0] if message.topic.startswith("tarebook/")]


def test_every_message_is_in_the_document_and_every_kind_was_heard(day, messages):
    heard = {channel_of(messages, message.topic) for message in ours(day)}
    assert heard == set(messages["channels"])


def test_every_payload_fits_its_schema(day, messages):
    for message in ours(day):
        name = channel_of(messages, message.topic)
        described = messages["components"]["messages"][name]
        if described["contentType"] == "application/octet-stream":
            continue
        text = message.payload.decode()
        body = text if described["contentType"] == "text/plain" else json.loads(text)
        schema = {**described["payload"], "components": messages["components"]}
        Draft202012Validator(schema).validate(body)


def test_quality_of_service_and_retained_as_described(day, messages):
    for message in ours(day):
        binding = messages["operations"][channel_of(messages, message.topic)]["bindings"]["mqtt"]
        assert (message.qos, message.retain) == (binding["qos"], binding["retain"]), message.topic


def test_the_document_is_asyncapi_3(messages):
    v3 = pytest.importorskip("pydantic_asyncapi.v3", reason="checks the document where it is installed")
    assert messages["asyncapi"] == "3.0.0" and messages["info"]["version"] == version("tarebook")
    v3.AsyncAPI.model_validate(messages)


def test_home_assistant_and_sparkplug_are_told_where_the_cart_file_asks(day):
    topics = {message.topic for message in day[0]}
    assert "homeassistant/device/tarebook_bench/config" in topics
    assert {"spBv1.0/shop/NBIRTH/bench", "spBv1.0/shop/NDATA/bench"} <= topics


@pytest.mark.parametrize(
    "path", ["/api/now", "/api/sessions", "/api/sessions/{id}", "/api/sessions/{id}/findings", "/healthz"]
)
def test_answers_over_http_fit_the_openapi_document(day, path):
    document = fetch(f"{day[1]}/api/openapi.json")
    session_id = fetch(f"{day[1]}/api/sessions")["sessions"][0]["session_id"]
    schema = document["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    body = fetch(f"{day[1]}{path.replace('{id}', session_id)}")
    Draft202012Validator({**schema, "components": document["components"]}).validate(body)


def test_metrics_of_a_running_cart_count_what_it_did(day):
    parser = pytest.importorskip("prometheus_client.parser", reason="reads what a Prometheus server would read")
    with urllib.request.urlopen(f"{day[1]}/metrics", timeout=20) as answer:
        text = answer.read().decode()
    found = {family.name: family.samples for family in parser.text_string_to_metric_families(text)}
    counted = {(s.labels["part"], s.labels["event"]): s.value for s in found["tarebook_events"]}
    assert counted["channel scale", "readings"] > 100 and counted["recorder", "readings"] > 100
    assert counted["engine", "failures"] == 0 and counted["recorder", "refused"] == 0
    assert any(part == "board" for part, _ in counted)
    assert found["tarebook_broker_connected"][0].value == 1.0


def test_a_cart_that_asks_for_nothing_tells_nobody_else(mosquitto, tmp_path):
    ear = Everything(mosquitto.port)
    bench = BenchCart(tmp_path / "cart", speed=10.0)
    daemon = Daemon(bench.cart(mosquitto.port, "recordings = false"), tmp_path / "data", None, bench.clock)
    daemon.start()
    try:
        until(lambda: "tarebook/bench/now" in ear.topics())
    finally:
        daemon.stop()
        bench.stop()
        ear.close()
    assert all(topic.startswith("tarebook/") and "/recordings" not in topic for topic in ear.topics())


@pytest.mark.parametrize("key", ["discovery", "sparkplug"])
def test_a_word_that_would_break_a_topic_is_refused(tmp_path, key):
    from firmware_bridge.cart import CartError

    bench = BenchCart(tmp_path / "cart")
    try:
        with pytest.raises(CartError, match=key):
            bench.cart(1883, f'{key} = "a/#"')
    finally:
        bench.stop()
