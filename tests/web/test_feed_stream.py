"""The live feed over a real socket: order, what was missed, places, ends."""

from __future__ import annotations

import http.client
import json
import time

from fake_port import alert, filling


def open_stream(server, last_id: str | None = None):
    connection = http.client.HTTPConnection(server.host, server.port, timeout=10)
    connection.request("GET", "/api/feed", headers={"Last-Event-ID": last_id} if last_id else {})
    return connection, connection.getresponse()


def next_event(answer) -> dict:
    """The next event as {"event", "data", "id"}; comments are passed over. Empty at the end of the stream."""
    event: dict = {}
    while line := answer.readline().decode().rstrip("\n"):
        name, _, value = line.partition(": ")
        event[name] = value
    if not event or "data" in event:
        return {**event, "data": json.loads(event["data"])} if event else {}
    return next_event(answer)


def viewers_become(port, count: int) -> bool:
    """Whether so many watch, within a bounded number of looks; what happens meanwhile lets a lost phone be noticed."""
    for _ in range(500):
        if port.feed.viewers() == count:
            return True
        port.show(filling())
        time.sleep(0.01)
    return False


def test_snapshot_comes_first_then_what_happens(server, port):
    connection, answer = open_stream(server)
    assert answer.headers["Content-Type"].startswith("text/event-stream")
    first = next_event(answer)
    assert first["event"] == "now" and first["data"]["session_id"] == "s-1" and "retry" in first
    port.feed.publish("alert", alert(7, "stop-charging", "notice", "Close the valve."))
    port.show(filling(90.0))
    told = next_event(answer)
    assert told["event"] == "alert" and told["data"]["seq"] == 7 and told["id"]
    assert next_event(answer)["data"]["charge"]["delivered_g"] == filling(90.0)["charge"]["delivered_g"]
    connection.close()


def test_a_phone_that_slept_misses_no_alert(server, port):
    seen = port.feed.publish("alert", alert(1, "approaching-target", "notice", "soon")).event_id
    port.feed.publish("alert", alert(2, "stop-charging", "notice", "stop"))
    port.feed.publish("stage", {"stage": "performance"})
    connection, answer = open_stream(server, seen)
    kinds = [(e["event"], e["data"].get("seq")) for e in (next_event(answer) for _ in range(3))]
    assert kinds == [("now", None), ("alert", 2), ("stage", None)]
    connection.close()


def test_beyond_the_places_a_phone_is_told_to_ask(server, port):
    streams = [open_stream(server) for _ in range(3)]
    assert [next_event(answer)["event"] for _, answer in streams] == ["now"] * 3
    connection, refused = open_stream(server)
    assert refused.status == 503 and refused.headers["Retry-After"]
    assert "/api/now" in json.loads(refused.read())["detail"]
    plain = http.client.HTTPConnection(server.host, server.port, timeout=10)
    plain.request("GET", "/api/now")
    assert plain.getresponse().status == 200
    for each, _ in [*streams, (connection, None), (plain, None)]:
        each.close()


def test_streams_end_when_the_cart_stops(server, port, stop):
    connection, answer = open_stream(server)
    next_event(answer)
    assert viewers_become(port, 1)
    stop.set()
    assert all(event.get("event", "now") == "now" for event in iter(lambda: next_event(answer), {}))
    connection.close()


def test_a_place_is_free_again_after_its_stream(server, port):
    for _ in range(5):
        connection, answer = open_stream(server)
        assert next_event(answer)["event"] == "now"
        assert viewers_become(port, 1)
        answer.close()
        connection.close()
        assert viewers_become(port, 0)
