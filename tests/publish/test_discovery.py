"""The cart described for Home Assistant, checked against the keys it publishes for MQTT discovery."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.blocks import CHANNEL_UNITS
from logger.publish.discovery import discovery
from logger.publish.topics import Topics, from_topic, in_topic

# https://www.home-assistant.io/integrations/mqtt/#device-discovery-payload and .../integrations/sensor.mqtt/
DEVICE_KEYS = {
    "configuration_url", "connections", "hw_version", "identifiers", "manufacturer", "model", "model_id", "name",
    "serial_number", "suggested_area", "sw_version", "via_device",
}  # fmt: skip
ORIGIN_KEYS = {"name", "sw_version", "support_url"}
SHARED_KEYS = {
    "device", "origin", "components", "availability", "availability_topic", "availability_mode",
    "availability_template", "payload_available", "payload_not_available", "command_topic", "state_topic", "qos",
    "encoding",
}  # fmt: skip
SENSOR_KEYS = {
    "platform", "availability", "availability_topic", "device_class", "enabled_by_default", "entity_category",
    "entity_picture", "expire_after", "force_update", "icon", "json_attributes_template", "json_attributes_topic",
    "last_reset_value_template", "name", "object_id", "options", "qos", "state_class", "state_topic",
    "suggested_display_precision", "unique_id", "unit_of_measurement", "value_template",
}  # fmt: skip
# https://www.home-assistant.io/integrations/sensor/#device-class: some of the units each class takes.
CLASS_UNITS = {
    "weight": {"kg", "g", "mg", "µg", "oz", "lb", "st"},
    "pressure": {"Pa", "kPa", "hPa", "bar", "cbar", "mbar", "mmHg", "inHg", "psi"},
    "temperature": {"°C", "°F", "K"},
    "humidity": {"%"},
}


@pytest.fixture
def said():
    message = discovery("homeassistant", "shop.1", CHANNEL_UNITS, "1.2.3")
    assert (message.topic, message.qos, message.retain) == ("homeassistant/device/tarebook_shop_1/config", 1, True)
    return json.loads(message.payload)


def test_only_published_keys_and_all_required_ones(said):
    assert set(said) <= SHARED_KEYS and {"device", "origin", "components"} <= set(said)
    assert set(said["device"]) <= DEVICE_KEYS and said["device"]["identifiers"]
    assert set(said["origin"]) <= ORIGIN_KEYS and said["origin"]["name"]
    for part in said["components"].values():
        assert set(part) <= SENSOR_KEYS and {"platform", "unique_id", "state_topic"} <= set(part)


def test_every_channel_is_there_with_a_unit_its_class_takes(said):
    assert set(CHANNEL_UNITS) < set(said["components"])
    for name, unit in CHANNEL_UNITS.items():
        part = said["components"][name]
        assert part["unit_of_measurement"] == unit and unit in CLASS_UNITS[part["device_class"]]
        assert part["state_topic"] == f"tarebook/shop.1/channel/{name}"
    identities = [part["unique_id"] for part in said["components"].values()]
    assert len(set(identities)) == len(identities)


def test_the_templates_name_keys_that_the_messages_have(said):
    now = {
        "t_utc": "2026-05-04T09:30:00Z",
        "session_id": "s",
        "stage": "charging",
        "channels": {"scale": {"value": 1.0, "unit": "g", "age_s": 0.1, "quality": "good"}},
        "charge": {"target_g": 620.0},
    }
    topics = Topics("shop.1")
    alert = {"code": "stop-charging"}
    sent = {m.topic: json.loads(m.payload) for m in [*topics.channels(now), topics.session(now), topics.alert(alert)]}
    checked = 0
    for part in said["components"].values():
        if part["state_topic"] in sent:
            key = part["value_template"].removeprefix("{{ value_json.").removesuffix(" }}")
            assert key in sent[part["state_topic"]]
            checked += 1
    assert checked == 6  # the scale, the stage, three weights, the last alert


@given(st.text(min_size=1))
def test_a_level_of_a_topic_gives_the_text_back(text):
    level = in_topic(text.encode("utf-8", "replace").decode())
    assert not set(level) & set("/+#\0") and from_topic(level) == text.encode("utf-8", "replace").decode()
