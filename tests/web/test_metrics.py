"""/metrics read by the parser of the Prometheus client library."""

from __future__ import annotations

import pytest

parser = pytest.importorskip("prometheus_client.parser", reason="reads what a Prometheus server would read")


def families(client) -> dict:
    answer = client.get("/metrics")
    assert answer.content_type == "text/plain; version=0.0.4; charset=utf-8"
    return {family.name: family for family in parser.text_string_to_metric_families(answer.get_data(as_text=True))}


def test_every_family_is_named_once_with_help_and_kind(client):
    found = families(client)
    assert all(family.documentation and family.type in ("gauge", "counter") for family in found.values())
    assert {name for name, family in found.items() if family.type == "counter"} == {"tarebook_events"}
    for family in found.values():
        labels = [tuple(sorted(sample.labels.items())) for sample in family.samples]
        assert len(set(labels)) == len(labels)


def test_readings_liveness_and_counters_are_those_of_the_cart(client, port):
    port.shown = {**port.shown, "links": {"board": "ok", "onewire": "gone"}, "broker": "connected to x:1, MQTT 5"}
    found = families(client)

    def value(name: str, **labels: str) -> float:
        family = found[name.removesuffix("_total")]
        return next(s.value for s in family.samples if labels.items() <= s.labels.items())

    shown = port.shown["channels"]["scale"]
    assert value("tarebook_reading", channel="scale", unit="g") == pytest.approx(shown["value"])
    assert value("tarebook_reading_good", channel="scale") == 1.0
    assert value("tarebook_part_well", part="engine") == 1.0
    assert (value("tarebook_link_well", link="board"), value("tarebook_link_well", link="onewire")) == (1.0, 0.0)
    assert value("tarebook_broker_connected") == 1.0
    assert value("tarebook_events_total", part="channel scale", event="readings") == 120
    assert value("tarebook_events_total", part="engine", event="turns") == 7


def test_a_name_cannot_break_the_format(client, port):
    odd = 'a"b\\c\nd'
    port.shown = {**port.shown, "links": {odd: "ok"}}
    assert families(client)["tarebook_link_well"].samples[0].labels["link"] == odd
