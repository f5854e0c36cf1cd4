"""Gathers the closed sessions of every cart on a broker into one Parquet data set: asks each for what is missing."""

from __future__ import annotations

import secrets
import time
from pathlib import Path

from logger.cart_transfer import CartReport, CartTransfer
from logger.incoming import read_list
from logger.publish.broker_link import BrokerLink, BrokerSettings, LinkEvent
from logger.publish.topics import STATUS_OFFLINE, from_topic
from logger.record.dataset import Dataset

CONNECT_S = 15.0
LISTEN_S = 2.0
LOOK_S = 0.02
MOST_DIGITS = 10
MAY_NOT_ASK = "the broker lets this user listen and not ask: it must publish to tarebook/+/recordings/ask"
LISTEN_TO = ("tarebook/+/status", "tarebook/+/recordings", "tarebook/+/recording/#")


class Collector:
    """All carts of a broker. `run` returns a report for each, by name. Raises ValueError, one line, when there is no
    broker or it lets this user not ask; OSError when the folder cannot be written."""

    def __init__(self, settings: BrokerSettings, into: Path):
        self._place = f"{settings.host}:{settings.port}"
        self._link = BrokerLink(settings, f"tarebook-collect-{secrets.token_hex(4)}", None, LISTEN_TO)
        self._incoming, self._dataset = into / ".incoming", Dataset(into)
        self._carts: dict[str, CartTransfer] = {}
        self._away: set[str] = set()
        self._news_s = time.monotonic()

    def run(self) -> list[CartReport]:
        """Gather until every cart that answers has given all it has."""
        self._incoming.mkdir(parents=True, exist_ok=True)
        try:
            self._connect()
            while time.monotonic() - self._news_s < LISTEN_S or not all(cart.done for cart in self._carts.values()):
                self._look()
                time.sleep(LOOK_S)
        finally:
            self._link.close()
        return [self._carts[name].report for name in sorted(self._carts)]

    def _connect(self) -> None:
        until = time.monotonic() + CONNECT_S
        while not self._link.up:
            self._link.tend()
            if time.monotonic() > until:
                raise ValueError(f"{self._link.status}: is the address right, and may this user enter?")
            time.sleep(LOOK_S)
        self._news_s = time.monotonic()

    def _look(self) -> None:
        for event in self._link.tend():
            if event.kind == "message":
                self._heard(event, time.monotonic())
            elif event.kind == "acked" and not event.ok:
                raise ValueError(f"{self._place}: {MAY_NOT_ASK}")
        for name, cart in self._carts.items():
            if name in self._away:
                cart.gone("the cart is not there now; run this again when it is")
            cart.look(time.monotonic())

    def _heard(self, event: LinkEvent, now_s: float) -> None:
        _, cart_id, kind, *rest = event.topic.split("/")
        if kind == "status":
            (self._away.add if event.payload == STATUS_OFFLINE.encode() else self._away.discard)(cart_id)
        elif kind == "recordings" and not rest:
            self._news_s = now_s
            self._cart(cart_id, now_s).want(dict(read_list(event.payload)), now_s)
        elif kind == "recording" and len(rest) == 1:
            self._cart(cart_id, now_s).heard_head(from_topic(rest[0]), event.payload, now_s)
        elif kind == "recording" and len(rest) == 2 and rest[1].isdecimal() and len(rest[1]) < MOST_DIGITS:
            self._cart(cart_id, now_s).heard_chunk(from_topic(rest[0]), int(rest[1]), event.payload, now_s)

    def _cart(self, cart_id: str, now_s: float) -> CartTransfer:
        if cart_id not in self._carts:
            self._carts[cart_id] = CartTransfer(cart_id, self._incoming, self._dataset, self._link.publish, now_s)
        return self._carts[cart_id]
