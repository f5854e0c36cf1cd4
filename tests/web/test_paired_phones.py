"""Paired phones: seen on the cart's page by those who are, and each can be put out, from the page or by command."""

from __future__ import annotations

import http.client

import pytest
from fake_port import filling
from playwright.sync_api import expect
from test_feed_stream import next_event
from test_live_page import paired

from logger.cli import main
from logger.pairing import PAIRING_FILE, Pairing

NAME = "bay 2 <b>phone</b>"


@pytest.fixture
def port(port, tmp_path):
    """With its devices where the commands look for them."""
    port.pairing = Pairing(tmp_path / PAIRING_FILE, utc=lambda: "2026-05-04T09:30:00.000Z")
    return port


def id_of(port, name: str) -> str:
    return next(each["device_id"] for each in port.pairing.devices() if each["name"] == name)


def test_only_a_paired_phone_sees_who_is_paired(client, port, bearer):
    port.pairing.exchange(port.pairing.code(), NAME)
    assert "Paired phones" not in client.get("/cart").text and "bay 2" not in client.get("/cart").text
    text = client.get("/cart", headers=bearer).text
    assert "bay 2 &lt;b&gt;phone&lt;/b&gt;" in text and "this phone" in text and "2026-05-04 09:30 UTC" in text


def test_a_revoked_phone_is_told_how_to_pair_again(client, port, bearer):
    other = {"Authorization": f"Bearer {port.pairing.exchange(port.pairing.code(), NAME)}"}
    path = f"/api/phones/{id_of(port, NAME)}/revoke"
    assert client.post(path).status_code == 401
    assert client.post("/api/sessions/s-1/marks", json={"mark": "purge"}, headers=other).status_code == 201
    assert client.post(path, headers=bearer).get_json() == {"done": True}
    refused = client.post("/api/sessions/s-1/marks", json={"mark": "purge"}, headers=other)
    assert refused.status_code == 401 and "/pair" in refused.get_json()["detail"]
    assert client.post(path, headers=bearer).status_code == 404
    assert client.post("/api/sessions/s-1/marks", json={"mark": "purge"}, headers=bearer).status_code == 201


def test_an_open_feed_of_a_revoked_phone_goes_on_and_changes_nothing(server, port, tmp_path):
    token = port.pairing.exchange(port.pairing.code(), NAME)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    feed, other = (http.client.HTTPConnection(server.host, server.port, timeout=10) for _ in range(2))
    feed.request("GET", "/api/feed", headers=headers)
    answer = feed.getresponse()
    assert next_event(answer)["event"] == "now"
    assert main(["phones", "--data", str(tmp_path), "--revoke", id_of(port, NAME)]) == 0
    port.show(filling(91.0))
    assert next_event(answer)["data"]["t_s"] == 91.0
    other.request("POST", "/api/valve", '{"open": true}', headers)
    assert other.getresponse().status == 401 and port.did == []
    feed.close()
    other.close()


def test_command_lists_and_revokes_beside_the_running_cart(port, tmp_path, capsys):
    data = ["--data", str(tmp_path)]
    assert main(["phones", *data]) == 0
    assert "No phone is paired" in capsys.readouterr().out
    token = port.pairing.exchange(port.pairing.code(), "red\x1b[2J\nphone")
    (device,) = port.pairing.devices()
    assert main(["phones", *data]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert line.startswith(device["device_id"]) and "red[2Jphone" in line and "2026-05-04 09:30 UTC" in line
    assert main(["phones", *data, "--revoke", "none"]) == 2
    assert device["device_id"] in capsys.readouterr().err and port.pairing.allows(token)
    assert main(["phones", *data, "--revoke", device["device_id"]]) == 0
    assert not port.pairing.allows(token) and port.pairing.devices() == []


def test_command_names_a_list_that_cannot_be_read(tmp_path, capsys):
    (tmp_path / PAIRING_FILE).write_text('{"devices": [')
    assert main(["phones", "--data", str(tmp_path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert PAIRING_FILE in line and "remove it" in line


def test_a_phone_puts_another_out_and_then_itself(phone, server, port):
    paired(phone, server, port)
    lost = port.pairing.exchange(port.pairing.code(), "lost phone")
    phone.goto(server.url + "cart")
    box = phone.locator("details.edit", has_text="lost phone")
    box.locator("summary").tap()
    button = box.locator("button")
    for touched in (box.locator("summary"), button):
        assert touched.bounding_box()["height"] >= 48
    button.tap()
    expect(phone.locator("details.edit", has_text="lost phone")).to_have_count(0)
    assert not port.pairing.allows(lost) and len(port.pairing.devices()) == 1
    own = phone.locator("details.edit", has_text="this phone")
    own.locator("summary").tap()
    own.locator("button").tap()
    expect(phone.locator("#phones")).to_have_count(0)
    assert port.pairing.devices() == []
