"""A subscriber of its own, so that tests see what a broker really hands on."""

from __future__ import annotations

import threading

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion


class Listener:
    """Collects (topic, payload, retained, qos) of all of a broker's messages; finds the broker again by itself."""

    def __init__(self, port: int, topic: str = "tarebook/#"):
        self.heard: list[tuple[str, str, bool, int]] = []
        self._changed = threading.Condition()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        self._client.on_subscribe = lambda *_: self._note(None)
        self._client.on_message = lambda _c, _u, m: self._note((m.topic, m.payload.decode(), m.retain, m.qos))
        self._subscribed = 0
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.wait_for(lambda: self._subscribed)

    def _note(self, message) -> None:
        with self._changed:
            if message is None:
                self._subscribed += 1
            else:
                self.heard.append(message)
            self._changed.notify_all()

    def wait_for(self, predicate, timeout: float = 30) -> bool:
        with self._changed:
            return self._changed.wait_for(predicate, timeout)

    def payloads(self, topic_end: str) -> list[str]:
        return [payload for topic, payload, _, _ in self.heard if topic.endswith(topic_end)]

    def wait_payloads(self, topic_end: str, predicate) -> bool:
        return self.wait_for(lambda: predicate(self.payloads(topic_end)))

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
