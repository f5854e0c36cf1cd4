"""A vehicle that was here before: said on its session's page, while it is typed, and to programs."""

from __future__ import annotations

import pytest
from fake_port import HOSTILE, fill_shop, filling


@pytest.fixture
def shop(port):
    """Nine closed sessions of five vehicles; v-6 is the second visit of V 1, thirty days after v-1."""
    fill_shop(port.writer)
    return port


def test_programs_and_the_page_say_the_same(shop, client):
    """448 g went in at v-1, 212 g came out thirty days later."""
    before = client.get("/api/sessions/v-6").get_json()["before"]
    assert [visit["session_id"] for visit in before["visits"]] == ["v-1"] and before["loss"]["lost_g"] == 236.0
    page = client.get("/sessions/v-6").get_data(as_text=True)
    assert "Here before" in page and 'href="/sessions/v-1"' in page and before["words"][1] in page
    assert client.get("/api/sessions/v-1").get_json()["before"]["visits"] == []
    nobody = client.get("/api/sessions/s-0").get_json()
    assert nobody["before"]["visits"] == [] and "Not here before" in client.get("/sessions/s-0").get_data(as_text=True)


def test_a_name_alone_is_looked_up(shop, client):
    found = client.get("/api/visits?registration=v1").get_json()["before"]
    assert [visit["session_id"] for visit in found["visits"]] == ["v-6", "v-1"]
    part = client.get("/api/visits?registration=v1&session=v-6").get_json()["before"]
    assert [visit["session_id"] for visit in part["visits"]] == ["v-1"]
    none = client.get("/api/visits").get_json()
    assert none["before"] is None and "registration" in none["before_why"]
    assert client.get("/api/visits?vin=x&session=nobody").status_code == 404


def test_what_somebody_noted_does_not_run(shop, client):
    shop.desk.note_job("v-1", {"complaint": HOSTILE})
    page = client.get("/sessions/v-6").get_data(as_text=True)
    assert HOSTILE not in page and "&lt;script&gt;" in page


def test_it_is_said_while_the_vehicle_is_typed(shop, server, phone):
    token = shop.pairing.exchange(shop.pairing.code())
    phone.context.add_cookies([{"name": "tarebook_pairing", "value": token, "url": server.url}])
    shop.shown = filling(0.0, stage="", session_id=None)
    phone.goto(server.url)
    phone.wait_for_selector("html[data-live=yes]")
    phone.click("#deed-start")
    phone.fill("#f-registration", "v 1")
    phone.wait_for_selector("#session-dialog output.before:has-text('Here before twice')")
    phone.goto(server.url + "sessions/v-8#job")
    phone.fill("#j-registration", "v 2")
    phone.wait_for_selector("#job-form output.before:has-text('Here before twice')")


def test_the_live_page_says_it_of_the_open_session(shop, client):
    shop.shown = filling(60.0, session_id="v-6")
    page = client.get("/").get_data(as_text=True)
    assert "Here before once" in page and 'href="/sessions/v-6#before"' in page
