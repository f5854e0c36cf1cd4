"""The cart described for Home Assistant, which then shows it without being told: one retained message.

Keys as published: https://www.home-assistant.io/integrations/mqtt/ (MQTT discovery, device discovery payload),
.../integrations/sensor.mqtt/, and the device classes with their units at .../integrations/sensor/.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from logger.publish.topics import STATUS_OFFLINE, STATUS_ONLINE, Message, Topics

EXPIRE_AFTER_S = 30
DEVICE_CLASS = {"g": "weight", "kPa": "pressure", "Pa": "pressure", "°C": "temperature", "%": "humidity"}


def discovery(prefix: str, cart_id: str, units: Mapping[str, str], version: str) -> Message:
    """prefix: the first level of the topic, by default `homeassistant` there. units: channel → unit."""
    topics, node = Topics(cart_id), f"tarebook_{cart_id.replace('.', '_')}"
    parts = {name: _channel(topics, name, unit) for name, unit in units.items()} | _session(topics)
    for name, part in parts.items():
        part |= {"platform": "sensor", "unique_id": f"{node}_{name}"}
    content = {
        "device": {"identifiers": [node], "name": f"Service cart {cart_id}", "sw_version": version},
        "origin": {"name": "tarebook", "sw_version": version},
        "availability_topic": topics.status,
        "payload_available": STATUS_ONLINE,
        "payload_not_available": STATUS_OFFLINE,
        "qos": 1,
        "components": parts,
    }
    return Message(f"{prefix}/device/{node}/config", json.dumps(content, ensure_ascii=False), 1, True)


def _channel(topics: Topics, name: str, unit: str) -> dict:
    return _measured(topics.of("channel", channel=name), "value", _words(name), unit) | {"expire_after": EXPIRE_AFTER_S}


def _session(topics: Topics) -> dict[str, dict]:
    state, alert = topics.of("session"), topics.of("alert")
    weights = ("target_g", "delivered_g", "remaining_g")
    return {
        "stage": {"name": "Stage", "state_topic": state, "value_template": "{{ value_json.stage }}"},
        **{key: _measured(state, key, _words(key.removesuffix("_g")), "g") for key in weights},
        "last_alert": {
            "name": "Last alert",
            "state_topic": alert,
            "value_template": "{{ value_json.code }}",
            "json_attributes_topic": alert,
        },
    }


def _measured(topic: str, key: str, name: str, unit: str) -> dict:
    return {
        "name": name,
        "state_topic": topic,
        "value_template": f"{{{{ value_json.{key} }}}}",
        "unit_of_measurement": unit,
        "device_class": DEVICE_CLASS[unit],
        "state_class": "measurement",
    }


def _words(name: str) -> str:
    return name.replace("_temp", " temperature").replace("_", " ").capitalize()
