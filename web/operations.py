"""For those who run the cart: liveness, metrics, the API's own description."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import version

from flask import Response

from logger.port import CartPort
from web.answers import as_json
from web.asyncapi import asyncapi_document
from web.problems import Problem
from web.routes import Route
from web.schemas import ref


def _escaped(label: str) -> str:
    return label.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")


def _family(name: str, about: str, samples: list[tuple[str, float | None]], kind: str = "gauge") -> list[str]:
    """One family in the Prometheus text format 0.0.4; samples without a value are left out."""
    lines = [f"{name}{labels} {value:.12g}" for labels, value in samples if value is not None]
    return [f"# HELP {name} {about}", f"# TYPE {name} {kind}", *lines] if lines else []


def metrics_text(now: dict, viewers: int, health: dict[str, str], counters: dict[str, dict[str, int]]) -> str:
    """What /metrics answers for one /api/now object; health: the cart's parts, each "ok" or what ails it; counters: as
    the port gives them."""
    channels, charge = now["channels"], now.get("charge") or {}

    def labels(name: str, channel: dict) -> str:
        return f'{{channel="{_escaped(name)}",unit="{_escaped(channel["unit"])}"}}'

    values = [(labels(n, c), c["value"]) for n, c in channels.items()]
    ages = [(labels(n, c), c["age_s"]) for n, c in channels.items()]
    good = [(labels(n, c), float(c["quality"] == "good")) for n, c in channels.items()]
    well = [(f'{{part="{_escaped(part)}"}}', float(state == "ok")) for part, state in health.items()]
    counted = [
        (f'{{part="{_escaped(part)}",event="{_escaped(event)}"}}', float(count))
        for part, counts in counters.items()
        for event, count in counts.items()
    ]
    links = [(f'{{link="{_escaped(name)}"}}', float(said == "ok")) for name, said in (now.get("links") or {}).items()]
    broker = str(now.get("broker") or "").startswith("connected")
    families = [
        _family("tarebook_reading", "Latest reading, in its unit", values),
        _family("tarebook_reading_age_seconds", "Age of the latest reading", ages),
        _family("tarebook_reading_good", "1 while the channel can be trusted", good),
        _family("tarebook_delivered_grams", "Charged in this session", [("", charge.get("delivered_g"))]),
        _family("tarebook_remaining_grams", "Left to the target", [("", charge.get("remaining_g"))]),
        _family("tarebook_alerts_standing", "Alerts not cleared", [("", float(len(now["alerts"])))]),
        _family("tarebook_session_open", "1 while a session is open", [("", float(bool(now["session_id"])))]),
        _family("tarebook_clock_trusted", "1 when wall time is known", [("", float(now["clock_trusted"]))]),
        _family("tarebook_part_well", "1 while this part of the logger does its work", well),
        _family("tarebook_link_well", "1 while this source of readings gives some", links),
        _family("tarebook_broker_connected", "1 while messages reach the broker", [("", float(broker))]),
        _family("tarebook_events_total", "Counted since the start, by part", counted, "counter"),
        _family("tarebook_viewers", "Open live streams", [("", float(viewers))]),
    ]
    return "\n".join(line for family in families for line in family) + "\n"


class Operations:
    """Views for machines that look after machines."""

    def __init__(self, port: CartPort, now: Callable[[], dict], describe: Callable[[str], dict]):
        self._port, self._now, self._describe = port, now, describe

    def healthz(self):
        """200 while every part of the logger goes on, 503 with the reason when not, and before the first snapshot. A
        sensor that is unplugged or a broker that is away is no reason to restart the logger."""
        self._now()
        parts = self._port.health()
        ill = [f"{name}: {state}" for name, state in parts.items() if state != "ok"]
        if ill:
            raise Problem(503, "Not well", "; ".join(ill))
        return as_json({"status": "ok", "parts": parts})

    def metrics(self):
        port = self._port
        text = metrics_text(self._now(), port.feed.viewers(), port.health(), port.counters())
        return Response(text, content_type="text/plain; version=0.0.4; charset=utf-8")

    def api_description(self):
        return as_json(self._describe(version("tarebook")))

    def message_description(self):
        return as_json(asyncapi_document(version("tarebook")))

    def routes(self) -> list[Route]:
        document = {200: ("application/json", None)}
        text = {200: ("text/plain", {"type": "string"})}
        return [
            Route("GET", "/healthz", self.healthz, "Alive", {200: ("application/json", ref("Health"))}, for_all=True),
            Route("GET", "/metrics", self.metrics, "Prometheus text format", text),
            Route("GET", "/api/openapi.json", self.api_description, "This document", document),
            Route("GET", "/api/asyncapi.json", self.message_description, "The messages, as AsyncAPI 3", document),
        ]
