"""The review of the whole shop and the container ledger, as a person sees them."""

from __future__ import annotations

import json
from xml.etree import ElementTree

import pytest
from fake_port import HOSTILE, fill_shop
from playwright.sync_api import expect
from test_live_page import paired


@pytest.fixture
def shop(port):
    """Nine more sessions, the last far off its target."""
    fill_shop(port.writer)
    return port


def test_the_review_says_without_scripts_what_is_out_of_control(client, shop):
    text = client.get("/review").get_data(as_text=True)
    assert 'Outside: <a href="/sessions/v-8">' in text and "; provisional" not in text
    for part in ("A. Someone", "V0", "Lost ", "charge off target", "not looked at"):
        assert part in text
    chart = json.loads(client.get("/api/review").get_data())["charge_error"]
    assert chart["upper"] == pytest.approx(chart["mean"] + 2.66 * chart["mean_range"])


def test_what_is_signed_off_no_longer_waits(client, shop, bearer):
    assert 'href="/sessions/v-3#decision"' in client.get("/review").get_data(as_text=True)
    client.post("/api/sessions/v-3/decision", json={"decision": "signed", "reviewer": "B"}, headers=bearer)
    assert 'href="/sessions/v-3#decision"' not in client.get("/review").get_data(as_text=True)


def test_the_control_chart_is_drawn_in_the_readers_units(phone, server, shop):
    phone.goto(server.url + "review")
    expect(phone.locator("#control .pen")).to_have_count(9)
    expect(phone.locator("#control .beyond")).to_have_count(1)
    expect(phone.locator("#ranges .beyond")).to_have_count(1)
    phone.click("text=Units on this phone")
    phone.get_by_label("oz", exact=True).check()
    expect(phone.locator("#control .tick").first).to_have_text("0 oz")
    assert phone.evaluate("document.documentElement.scrollWidth") == 390


def test_an_empty_shop_says_so(client, port):
    port.writer.run([("DELETE FROM session WHERE open = 0", [()])])
    text = client.get("/review").get_data(as_text=True)
    assert "No session has been closed and judged yet." in text and "three years" in text


def test_a_container_is_added_corrected_and_weighed_on_the_page(phone, server, port):
    paired(phone, server, port)
    phone.goto(server.url + "containers")
    phone.click("summary >> text=Add a container")
    phone.fill("#c-label", "C-44")
    phone.fill("#c-full", "12 oz")
    phone.fill("#c-tare", "180 g")
    phone.click("text=Add it")
    phone.click("text=C-44")
    expect(phone.locator(".headline b")).to_have_text("340 g")
    phone.click("summary >> text=Correct what it holds")
    phone.fill("#c-left", "300 g")
    phone.fill("#c-why", "weighed")
    phone.click("button >> text=Correct it")
    expect(phone.locator(".headline b")).to_have_text("300 g")
    port.scale.resting_g = lambda: 470.0
    phone.click("text=Weigh it beside the ledger")
    expect(phone.locator("#weighed")).to_have_text("290 g in it by the scale, 10 g less than the ledger says.")


def test_a_container_has_a_code_and_hostile_words_stay_words(client):
    drawn = client.get("/api/containers/R-7/code.svg")
    assert drawn.mimetype == "image/svg+xml" and ElementTree.fromstring(drawn.data).tag.endswith("svg")
    page = client.get("/containers/R-7").get_data(as_text=True)
    assert "Reclaim yard, 1 Example Road" in page and "<svg" in page
    assert HOSTILE not in client.get("/containers/C-12").get_data(as_text=True)
    assert client.get("/containers/none", headers={"Accept": "text/html"}).status_code == 404
