"""Nobody on the shop's network changes anything without having stood at the cart, and no secret leaves it."""

from __future__ import annotations

import io
import json
import logging
import re
import stat
import threading
import zipfile

import pytest
from fake_port import FakePort

from web.app import create_app

OPEN_TO_ALL = {"/api/pair", "/api/token", "/api/placard", "/api/vin"}
"""They give a token for the code on the cart's terminal, or read a text and change nothing."""


@pytest.fixture
def shop(tmp_path):
    port, stop = FakePort(tmp_path), threading.Event()
    yield create_app(port, tmp_path, stop=stop).test_client(), port
    stop.set()
    port.end()


def changing(client) -> list[tuple[str, str]]:
    paths = client.get("/api/openapi.json").get_json()["paths"]
    return [(m, p) for p, methods in paths.items() for m in methods if m != "get" and p not in OPEN_TO_ALL]


def test_every_route_that_changes_something_needs_pairing(shop):
    client, _ = shop
    routes = changing(client)
    assert len(routes) >= 6
    for method, path in routes:
        path = re.sub(r"\{\w+\}", "s-1", path)
        for headers in ({}, {"Authorization": "Bearer " + "0" * 64}, {"Cookie": "tarebook_pairing=" + "0" * 64}):
            assert client.open(path, method=method.upper(), json={}, headers=headers).status_code == 401, (method, path)


def test_a_foreign_page_cannot_use_a_paired_browser(shop):
    client, port = shop
    client.set_cookie("tarebook_pairing", port.pairing.exchange(port.pairing.code()))
    for method, path in changing(client):
        path = re.sub(r"\{\w+\}", "s-1", path)
        for headers in ({"Origin": "http://elsewhere.test"}, {"Origin": "null"}, {}):
            assert client.open(path, method=method.upper(), json={}, headers=headers).status_code == 403, (method, path)


@pytest.mark.parametrize("path", ["/api/pair", "/api/token"])
def test_codes_cannot_be_tried_at_will(shop, path):
    client, port = shop
    wrong = "000000" if port.pairing.code() != "000000" else "000001"
    said = [client.post(path, json={"code": wrong}, headers={"Origin": "http://localhost"}) for _ in range(8)]
    assert [each.status_code for each in said] == [403] * 5 + [429] * 3
    assert int(said[-1].headers["Retry-After"]) > 0


def test_a_revoked_phone_is_out_at_once(shop):
    client, port = shop
    headers = {"Authorization": f"Bearer {port.pairing.exchange(port.pairing.code())}"}
    assert client.post("/api/valve", json={"open": False}, headers=headers).status_code != 401
    port.pairing.revoke(port.pairing.devices()[0]["device_id"])
    assert client.post("/api/valve", json={"open": False}, headers=headers).status_code == 401


def test_secrets_are_for_their_owner_only_and_in_no_answer_or_log(shop, tmp_path, caplog):
    client, port = shop
    caplog.set_level(logging.DEBUG)
    token = port.pairing.exchange(port.pairing.code(), "a phone")
    (kept,) = list(tmp_path.rglob("pair*.json"))
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert token not in kept.read_text()
    headers = {"Authorization": f"Bearer {token}"}
    paths = ["/api/now", "/metrics", "/healthz", "/api/sessions", "/api/openapi.json", "/", "/cart"]
    answers = [client.get(path, headers=headers).text for path in paths]
    code = port.pairing.code()
    client.post("/api/valve", json={"open": "x"}, headers=headers)
    for text in (*answers, caplog.text):
        assert token not in text and code not in text and json.loads(kept.read_text())["devices"] != {}


def test_pages_load_nothing_foreign_and_no_inline_script(shop):
    client, _ = shop
    for path in ("/", "/sessions", "/cart", "/pair"):
        answer = client.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert " onclick=" not in answer.text and "<script>" not in answer.text and " style=" not in answer.text


def test_uploads_have_their_limits(shop):
    client, port = shop
    headers = {"Authorization": f"Bearer {port.pairing.exchange(port.pairing.code())}"}
    assert client.post("/api/placard", data=b"x" * 100_000, headers=headers).status_code == 413
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("session.json", b" " * (50 << 20))
        archive.writestr("readings.csv", b"")
        archive.writestr("marks.csv", b"")
    answer = client.post("/api/recordings", data=bomb.getvalue(), headers=headers)
    assert answer.status_code == 422 and "larger than" in answer.get_json()["detail"]
