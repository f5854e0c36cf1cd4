"""Hostile input is refused in one line or taken, never a crash; no frame comes out that was not sent; no 5xx."""

from __future__ import annotations

import json
import random
import threading

import pytest
from fuzzing import carts, frames, recordings, spoiled

from web.app import create_app


def test_no_frame_is_accepted_that_was_not_sent():
    assert frames(50_000) == (50_000, [])


def test_spoiled_recordings_are_refused_in_one_line():
    assert recordings(1500) == (1500, [])


def test_spoiled_cart_files_are_refused_in_one_line(tmp_path):
    assert carts(tmp_path, 1200) == (1200, [])


@pytest.fixture
def http(tmp_path):
    from fake_port import FakePort

    port, stop = FakePort(tmp_path), threading.Event()
    client = create_app(port, tmp_path, stop=stop).test_client()
    token = port.pairing.exchange(port.pairing.code())
    yield client, {"Authorization": f"Bearer {token}"}
    stop.set()
    port.end()


BODIES = {
    "/api/sessions": {"refrigerant": "R-134a", "placard": "480-520 g", "target_g": 500, "vehicle": {"vin": "x"}},
    "/api/sessions/s-1/marks": {"mark": "note", "detail": {"text": "x"}},
    "/api/placard": {"placard": "1.26-1.39 lb"},
    "/api/valve": {"open": True},
    "/api/pair": {"code": "000000", "name": "x"},
    "/api/token": {"code": "000000"},
}


@pytest.mark.parametrize("path", BODIES)
def test_spoiled_bodies_are_never_an_error_of_the_server(http, path):
    client, headers = http
    rng = random.Random(path)
    for _ in range(150):
        body = spoiled(json.dumps(BODIES[path]).encode(), rng)
        answer = client.post(path, data=body, headers={**headers, "Content-Type": "application/json"})
        assert answer.status_code < 500, (body, answer.data)


def test_odd_numbers_and_types_in_a_body_are_never_an_error_of_the_server(http):
    client, headers = http
    for path, good in BODIES.items():
        for key in good:
            for odd in (10**400, -1, 1e308, [], {}, [[]], "", "\0", "\ud800", None, True, "a" * 5000):
                answer = client.post(path, json={**good, key: odd}, headers=headers)
                assert answer.status_code < 500, (path, key, odd, answer.data)


def test_spoiled_paths_and_queries_are_never_an_error_of_the_server(http):
    client, headers = http
    rng = random.Random(3)
    paths = ["/api/sessions/s-0", "/api/sessions/s-0/readings?channel=scale&from_s=0&to_s=9&points=10", "/sessions/s-0"]
    paths += ["/api/sessions/..%2f..%2fetc%2fpasswd", "/static/..%2f..%2fapp.py", "/static/%2e%2e/app.py"]
    for _ in range(300):
        path = spoiled(rng.choice(paths).encode(), rng).decode("latin-1").replace("\n", "%0a").replace("\r", "%0d")
        answer = client.get("/" + path.lstrip("/"), headers=headers)
        assert answer.status_code < 500, (path, answer.data)
