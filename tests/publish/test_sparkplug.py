"""Sparkplug B on a real broker, decoded by the definition in the standard."""

from __future__ import annotations

import sys
import time
from itertools import count
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))

pytest.importorskip("google.protobuf", reason="the extra [sparkplug] is not installed")

from sparkplug_b import DATA_TYPE, ReferencePayload, decode  # noqa: E402 - found by the lines above

from logger.publish.broker_link import BrokerSettings  # noqa: E402 - as above
from logger.publish.sparkplug import EdgeNode, asks_for_birth, edge_node  # noqa: E402 - as above


def now_with(value: float | None = 1500.0, quality: str = "good") -> dict:
    return {
        "t_utc": "2026-05-04T09:30:00.250Z",
        "session_id": None,
        "stage": "",
        "channels": {"scale": {"value": value, "unit": "g", "age_s": 0.05, "quality": quality}},
        "charge": {"target_g": 620.0, "delivered_g": 200.0, "remaining_g": 420.0},
        "alerts": [{"code": "scale-drift"}],
    }


NOW_MS = 1777887000250  # of the time above: `date -d 2026-05-04T09:30:00.250Z +%s%3N`


def by_name(payload: bytes) -> dict[str, dict]:
    return {metric["name"]: metric for metric in decode(payload)["metrics"]}


def test_birth_holds_every_metric_with_type_unit_and_quality():
    node = EdgeNode("shop", "cart-1", lambda: 7)
    will, birth = node.will(), node.birth(now_with(), NOW_MS)
    assert (will.topic, will.qos, will.retain) == ("spBv1.0/shop/NDEATH/cart-1", 1, False)
    assert (birth.topic, birth.qos, birth.retain) == ("spBv1.0/shop/NBIRTH/cart-1", 0, False)
    said, metrics = decode(birth.payload), by_name(birth.payload)
    assert said["seq"] == "0" and said["timestamp"] == str(NOW_MS)
    assert metrics["bdSeq"]["long_value"] == by_name(will.payload)["bdSeq"]["long_value"] == "7"
    assert metrics["Node Control/Rebirth"] == {
        "name": "Node Control/Rebirth",
        "timestamp": str(NOW_MS),
        "datatype": DATA_TYPE["Boolean"],
        "boolean_value": False,
    }
    scale = metrics["Channel/scale"]
    assert (scale["datatype"], scale["double_value"], scale["timestamp"]) == (
        DATA_TYPE["Double"],
        1500.0,
        str(NOW_MS - 50),
    )
    assert scale["properties"]["keys"] == ["engUnit", "Quality"]
    assert [list(value.values()) for value in scale["properties"]["values"]] == [
        [DATA_TYPE["String"], "g"],
        [DATA_TYPE["Int32"], 192],
    ]
    assert metrics["Session/id"]["is_null"] and metrics["Alerts/standing"]["string_value"] == "scale-drift"


def test_death_has_its_number_and_no_sequence():
    assert set(decode(EdgeNode("g", "n", lambda: 3).will().payload)) == {"metrics"}


def test_data_is_what_changed_and_sequence_goes_round():
    node = EdgeNode("shop", "cart-1", lambda: 0)
    node.birth(now_with(), NOW_MS)
    assert node.data(now_with(), NOW_MS + 1000) is None
    gone = by_name(node.data(now_with(None, "fault"), NOW_MS).payload)
    assert set(gone) == {"Channel/scale"} and gone["Channel/scale"]["is_null"]
    assert gone["Channel/scale"]["properties"]["values"][1]["int_value"] == 0
    numbers = [int(decode(node.data(now_with(float(k)), NOW_MS).payload)["seq"]) for k in range(300)]
    assert numbers[:3] == [2, 3, 4] and numbers[253:256] == [255, 0, 1] and max(numbers) == 255


@pytest.mark.parametrize("payload", [b"", b"\xff\xff\xff", b"{}", ReferencePayload(timestamp=1).SerializeToString()])
def test_what_is_no_command_asks_for_nothing(payload):
    assert not asks_for_birth(payload)


class Host:
    """A host application: hears all of a group, can ask for a new birth."""

    def __init__(self, port: int):
        self.heard: list[tuple[str, bytes]] = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.client.on_connect = lambda client, *_: client.subscribe("spBv1.0/#", qos=1)
        self.client.on_message = lambda _c, _u, m: self.heard.append((m.topic.split("/")[2], m.payload))
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def of(self, kind: str) -> list[bytes]:
        return [payload for heard, payload in self.heard if heard == kind]

    def wait(self, kind: str, least: int) -> list[bytes]:
        end = time.monotonic() + 30
        while time.monotonic() < end:
            if len(self.of(kind)) >= least:
                return self.of(kind)
            time.sleep(0.02)
        raise AssertionError(f"{least} {kind} never came")

    def ask_for_birth(self) -> None:
        command = ReferencePayload(timestamp=1)
        command.metrics.add(name="Node Control/Rebirth", datatype=DATA_TYPE["Boolean"], boolean_value=True)
        self.client.publish("spBv1.0/shop/NCMD/cart-1", command.SerializeToString(), qos=0)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def host(mosquitto):
    host = Host(mosquitto.port)
    yield host
    host.close()


def test_life_of_an_edge_node_on_a_broker(mosquitto, host):
    births, weights = count(5), count(1000)
    node = edge_node(
        BrokerSettings("127.0.0.1", mosquitto.port),
        "shop",
        "cart-1",
        lambda: now_with(float(next(weights))),
        lambda: next(births),
    )
    node.start()
    try:
        host.wait("NBIRTH", 1)
        assert decode(host.wait("NDATA", 1)[0])["seq"] == "1"
        host.ask_for_birth()
        assert decode(host.wait("NBIRTH", 2)[1])["seq"] == "0"
        mosquitto.stop()
        mosquitto.start()
        numbers = [by_name(payload)["bdSeq"]["long_value"] for payload in host.wait("NBIRTH", 3)]
        assert numbers[0] == numbers[1] and int(numbers[2]) > int(numbers[1])
    finally:
        node.stop()
    assert by_name(host.wait("NDEATH", 1)[-1])["bdSeq"]["long_value"] == numbers[2]
