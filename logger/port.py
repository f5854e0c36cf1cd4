"""The cart as its pages, its messages and its commands see it: what is so, what happens, what may be asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from logger.measure.atmosphere import Ambient
from logger.pairing import Pairing
from logger.publish.feed import Feed
from logger.recent_sensors import RecentSensors
from logger.record.reader import StoreReader
from logger.record_desk import RecordDesk
from logger.scale_desk import ScaleDesk


class NoSessionError(ValueError):
    """There is no open session to which this could be told."""


class CartPort(Protocol):
    """Every method may be called from any thread. Errors are ValueErrors of one line.

    feed: what happens, as it happens. store: the record, read only. pairing: who may change things.
    scale: tare and checks of the scale. desk: what people add to the record. sensors: how the sensors fare.
    """

    feed: Feed
    store: StoreReader
    pairing: Pairing
    scale: ScaleDesk
    desk: RecordDesk
    sensors: RecentSensors

    def now(self) -> dict:
        """The `/api/now` object, at most 0.2 s old; must not be changed."""

    def health(self) -> dict[str, str]:
        """The parts of the logger, each "ok" or what ails it."""

    def ambient(self) -> Ambient:
        """The pressure around the cart, by its barometer or its altitude."""

    def counters(self) -> dict[str, dict[str, int]]:
        """What has been counted since the start, part → what → how often: engine, recorder, each source's link, each
        channel's readings."""

    def findings(self) -> dict | None:
        """The findings of the open session so far, None when none is open."""

    def open_session(self, setup: Mapping) -> str:
        """Begin a session with the keys of a recording's session.json; its id. Raises ValueError when one is open or a
        key cannot be used."""

    def mark(self, mark: Mapping) -> float:
        """Take {"mark", "detail"}; the session time it was given. The stage `closed` closes the session. Raises
        NoSessionError."""

    def close_session(self) -> dict | None:
        """End the open session; its findings, None when none was open."""

    def ack(self, code: str) -> None:
        """A person has seen the alert. Raises NoSessionError when there is no session and no such alert."""

    def order_valve(self, open_it: bool) -> dict:
        """A person orders the charging valve open or closed; {"open", "why"}. Raises ValueError when there is none."""

    def import_recording(self, path: Path, findings: Mapping) -> str:
        """Take a recording (folder or zip) and what it comes to into the record, whole or not at all; its session id.
        The same one a second time changes nothing. Raises ValueError."""
