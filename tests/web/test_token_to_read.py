"""A cart whose file says that even looking needs pairing, and live places kept for those who are paired."""

from __future__ import annotations

import http.client

import pytest
from test_feed_stream import next_event

from web.app import create_app
from web.server import WebServer

FOR_ALL = {"/pair", "/manifest.webmanifest", "/healthz"}


@pytest.fixture
def shut_app(port, tmp_path, stop):
    return create_app(port, tmp_path, stop=stop, slots=4, stream_life_s=30, token_to_read=True)


@pytest.fixture
def shut_server(shut_app, stop):
    serving = WebServer(shut_app, "127.0.0.1", 0, stop, slots=4)
    serving.start()
    yield serving
    serving.stop()


def stream(server, headers):
    connection = http.client.HTTPConnection(server.host, server.port, timeout=10)
    connection.request("GET", "/api/feed", headers=headers)
    return connection, connection.getresponse()


def test_nobody_looks_without_pairing(shut_app, bearer):
    client = shut_app.test_client()
    paths = [rule.rule for rule in shut_app.url_map.iter_rules() if "GET" in rule.methods and "static" not in rule.rule]
    assert {path for path in paths if client.get(path).status_code != 401} == FOR_ALL
    assert client.get("/", headers={"Accept": "text/html"}).status_code == 401
    assert 'href="/pair"' in client.get("/", headers={"Accept": "text/html"}).text
    assert client.get("/api/now", headers=bearer).status_code == 200
    assert client.get("/cart", headers=bearer).status_code == 200


def test_a_phone_that_pairs_may_look(shut_app, port):
    client = shut_app.test_client()
    assert client.post("/api/placard", json={"placard": "620 g"}).status_code == 401
    client.post("/api/pair", json={"code": port.pairing.code()}, headers={"Origin": "http://localhost"})
    assert client.get("/sessions").status_code == 200 and client.get("/api/sessions").status_code == 200


def test_a_revoked_phone_sees_no_more_of_its_open_feed(shut_server, port, bearer):
    connection, answer = stream(shut_server, bearer)
    assert next_event(answer)["event"] == "now"
    port.pairing.revoke(port.pairing.devices()[0]["device_id"])
    assert next_event(answer) == {}
    assert stream(shut_server, bearer)[1].status == 401
    connection.close()


def test_whoever_takes_every_place_leaves_those_of_the_paired(port, tmp_path, stop, bearer):
    server = WebServer(create_app(port, tmp_path, stop=stop, slots=4), "127.0.0.1", 0, stop, slots=4)
    server.start()
    strangers = [stream(server, {}) for _ in range(4)]
    assert [answer.status for _, answer in strangers] == [200, 200, 200, 503]
    connection, answer = stream(server, bearer)
    assert answer.status == 200 and next_event(answer)["event"] == "now"
    for each, _ in (*strangers, (connection, answer)):
        each.close()
    server.stop()
