"""Which connections a cart has to its broker: one for state and alerts, and those the cart file asks for beside it."""

from __future__ import annotations

from importlib.metadata import version

from firmware_bridge.cart import Cart, MqttConfig
from logger.cart_port import RunningCart
from logger.publish.broker_link import BrokerSettings
from logger.publish.discovery import discovery
from logger.publish.handing_out import handing_out
from logger.publish.link_thread import LinkThread
from logger.publish.mqtt import MqttPublisher
from logger.record.outbox import Outbox
from logger.record.store import Store
from logger.shelf import SessionShelf

BIRTH_NUMBER = "sparkplug_birth_number"


def publisher_for(cart: Cart, store: Store, port: RunningCart) -> MqttPublisher | None:
    """State and alerts; None without a broker. Raises ValueError where its settings name what cannot be read."""
    if cart.mqtt is None:
        return None
    said = ()
    if cart.mqtt.discovery:
        units = {name: channel.unit for name, channel in cart.channels.items()}
        said = (discovery(cart.mqtt.discovery, cart.id, units, version("tarebook")),)
    settings = settings_of(cart.mqtt)
    return MqttPublisher(settings, cart.id, Outbox(store), port.now, port.last_findings, said)


def links_beside(cart: Cart, store: Store, port: RunningCart) -> list[LinkThread]:
    """Recordings handed out and Sparkplug B, each on a connection of its own. Raises ValueError as above."""
    if cart.mqtt is None:
        return []
    settings, links = settings_of(cart.mqtt), []
    if cart.mqtt.recordings:
        links.append(handing_out(settings, cart.id, SessionShelf(store.path, cart.id)))
    if cart.mqtt.sparkplug:
        links.append(_edge_node(cart, settings, store, port))
    return links


def settings_of(mqtt: MqttConfig) -> BrokerSettings:
    return BrokerSettings(mqtt.host, mqtt.port, mqtt.username, mqtt.password_file, mqtt.tls, mqtt.ca_file)


def _edge_node(cart: Cart, settings: BrokerSettings, store: Store, port: RunningCart) -> LinkThread:
    try:
        from logger.publish.sparkplug import NUMBERS, edge_node
    except ImportError:
        raise ValueError("[mqtt] sparkplug needs protobuf: install it with pip install 'tarebook[sparkplug]'") from None

    def next_birth_number() -> int:
        number = (int(store.get_value(BIRTH_NUMBER, -1)) + 1) % NUMBERS
        store.set_value(BIRTH_NUMBER, number)
        return number

    return edge_node(settings, cart.mqtt.sparkplug, cart.id, port.now, next_birth_number)
