"""The cart as a Sparkplug B edge node: what is said at birth, what has changed, what the broker says at its death.

Source of topics and rules: Eclipse Sparkplug Specification 3.0.0, sections 4 (topics), 5 (operational behaviour), 6.4
(payloads). The cart is an edge node without devices. Values are reported when they have changed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import NamedTuple

from logger.publish.broker_link import BrokerLink, BrokerSettings, LinkEvent
from logger.publish.link_thread import LinkThread
from logger.publish.sparkplug_payload import DecodeError, Payload
from logger.publish.topics import Message

INT32, UINT64, DOUBLE, BOOLEAN, STRING = 3, 8, 10, 11, 12
"""Data types: 6.4.16."""
QUALITY = {"good": 192, "stale": 500, "fault": 0}
"""Property values: 6.4.13 (GOOD 192, STALE 500, BAD 0)."""
REBIRTH, BIRTH_NUMBER = "Node Control/Rebirth", "bdSeq"
NUMBERS = 256
PERIOD_S = 1.0


class Metric(NamedTuple):
    """One value with its data type; None is a null. `unit` and `quality` go along as properties where there are any."""

    datatype: int
    value: float | int | str | bool | None
    unit: str = ""
    quality: str = ""


def metrics_of(now: Mapping) -> dict[str, Metric]:
    """Every metric of a snapshot by name; always the same names as long as the channels are the same."""
    charge = now.get("charge") or {}
    standing = sorted({alert["code"] for alert in now.get("alerts") or []})
    readings = {
        f"Channel/{name}": Metric(DOUBLE, channel["value"], channel["unit"], channel["quality"])
        for name, channel in (now.get("channels") or {}).items()
    }
    weights = {
        f"Session/{key.removesuffix('_g')}": Metric(DOUBLE, charge.get(key), "g")
        for key in ("target_g", "delivered_g", "remaining_g")
    }
    return {
        **readings,
        **weights,
        "Session/id": Metric(STRING, now.get("session_id")),
        "Session/stage": Metric(STRING, now.get("stage")),
        "Alerts/standing": Metric(STRING, ", ".join(standing)),
    }


class EdgeNode:
    """Makes the messages of one edge node, in order. next_birth_number: called once for each connection, gives a number
    that is one more than the last, also over restarts."""

    def __init__(self, group: str, node: str, next_birth_number: Callable[[], int]):
        self._topic = f"spBv1.0/{group}/{{}}/{node}".format
        self.command_topic = self._topic("NCMD")
        self._next_birth_number = next_birth_number
        self._birth_number, self._number = 0, 0
        self._said: dict[str, Metric] = {}

    def will(self) -> Message:
        """NDEATH, for a new connection; its bdSeq is that of the births on this connection."""
        self._birth_number = self._next_birth_number() % NUMBERS
        return self.death()

    def death(self) -> Message:
        payload = Payload()
        _add(payload, BIRTH_NUMBER, Metric(UINT64, self._birth_number), None)
        return Message(self._topic("NDEATH"), payload.SerializeToString(), 1, False)

    def birth(self, now: Mapping, time_ms: int) -> Message:
        """NBIRTH: every metric there is."""
        self._number, self._said = 0, metrics_of(now)
        payload = Payload(timestamp=time_ms, seq=0)
        _add(payload, BIRTH_NUMBER, Metric(UINT64, self._birth_number), time_ms)
        _add(payload, REBIRTH, Metric(BOOLEAN, False), time_ms)
        self._add_all(payload, self._said, now, time_ms)
        return Message(self._topic("NBIRTH"), payload.SerializeToString(), 0, False)

    def knows(self, now: Mapping) -> bool:
        """Whether all of this was named at birth; else another birth is due."""
        return metrics_of(now).keys() <= self._said.keys()

    def data(self, now: Mapping, time_ms: int) -> Message | None:
        """NDATA: what has changed since the last message, None when nothing has."""
        changed = {name: metric for name, metric in metrics_of(now).items() if self._said.get(name) != metric}
        if not changed:
            return None
        self._said |= changed
        self._number = (self._number + 1) % NUMBERS
        payload = Payload(timestamp=time_ms, seq=self._number)
        self._add_all(payload, changed, now, time_ms)
        return Message(self._topic("NDATA"), payload.SerializeToString(), 0, False)

    def _add_all(self, payload, metrics: Mapping[str, Metric], now: Mapping, time_ms: int) -> None:
        ages = {f"Channel/{name}": channel.get("age_s") for name, channel in (now.get("channels") or {}).items()}
        for name, metric in metrics.items():
            _add(payload, name, metric, time_ms - round(1000 * (ages.get(name) or 0.0)))


def asks_for_birth(payload: bytes) -> bool:
    """Whether an NCMD asks for a new birth; what cannot be read asks for nothing."""
    try:
        command = Payload.FromString(payload)
    except DecodeError:
        return False
    return any(metric.name == REBIRTH and metric.boolean_value for metric in command.metrics)


def _add(payload, name: str, metric: Metric, time_ms: int | None) -> None:
    added = payload.metrics.add(name=name, datatype=metric.datatype)
    if time_ms is not None:
        added.timestamp = time_ms
    if metric.value is None:
        added.is_null = True
    else:
        field = {DOUBLE: "double_value", BOOLEAN: "boolean_value", STRING: "string_value", UINT64: "long_value"}
        setattr(added, field[metric.datatype], metric.value)
    if metric.unit:
        _property(added.properties, "engUnit", type=STRING, string_value=metric.unit)
    if metric.quality:
        _property(added.properties, "Quality", type=INT32, int_value=QUALITY[metric.quality])


def _property(properties, key: str, **value: object) -> None:
    properties.keys.append(key)
    properties.values.add(**value)


class SparkplugTalk:
    """What an edge node says and hears on its connection."""

    def __init__(self, node: EdgeNode, link: BrokerLink, now: Callable[[], Mapping]):
        self._node, self._link, self._now = node, link, now
        self._born, self._due_s = False, 0.0

    def heard(self, event: LinkEvent) -> None:
        if event.kind == "up" or (event.kind == "message" and asks_for_birth(event.payload)):
            self._born = False

    def look(self) -> None:
        now = self._now()
        if not now or (self._born and time.monotonic() < self._due_s):
            return
        self._due_s = time.monotonic() + PERIOD_S
        if self._born and self._node.knows(now):
            message = self._node.data(now, _time_ms(now))
        else:
            message, self._born = self._node.birth(now, _time_ms(now)), True
        if message is not None:
            self._link.publish(message)

    def farewell(self) -> Message | None:
        return self._node.death()


def edge_node(
    settings: BrokerSettings, group: str, cart_id: str, now: Callable[[], Mapping], next_birth_number: Callable[[], int]
) -> LinkThread:
    """The thread of a cart as an edge node of `group`. Raises ValueError as BrokerLink does."""
    node = EdgeNode(group, cart_id, next_birth_number)
    link = BrokerLink(settings, f"tarebook-{cart_id}-sparkplug", node.will, (node.command_topic,))
    return LinkThread("sparkplug", link, SparkplugTalk(node, link, now))


def _time_ms(now: Mapping) -> int:
    return round(datetime.fromisoformat(now["t_utc"]).timestamp() * 1000)
