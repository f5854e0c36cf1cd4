"""The session's conduct from the phone: cautions, a suggested stage, a stage left out, the plan of the containers."""

from __future__ import annotations

import pytest
from fake_port import filling
from playwright.sync_api import expect
from test_live_page import opened, paired

from logger.session.cautions import SHOP_SOURCE

SUGGESTED = {"stage": "performance", "why": "both sides run apart and nothing flows"}


def test_cautions_are_those_of_the_stage_and_the_refrigerant(client, port):
    port.shown = filling(refrigerant="R-1234yf")
    found = client.get("/api/cautions").get_json()
    codes = [caution["code"] for caution in found["cautions"]]
    assert found["stage"] == "charging" and codes[0] == "local-codes-first" and "no-ignition" in codes
    assert all(caution["words"] and caution["source"] for caution in found["cautions"])
    port.shown = filling(refrigerant="R-134a")
    other = [c["code"] for c in client.get("/api/cautions?stage=recovery").get_json()["cautions"]]
    assert "no-ignition" not in other and "no-overfill" in other and "high-side-shut" not in other
    assert client.get("/api/cautions?stage=lunch").status_code == 400
    assert "high-side valve closed" in client.get("/").get_data(as_text=True)


def test_the_shops_own_words_stand_with_the_cautions(client, port):
    port.writer.close_session("s-1")
    setup = {"session_id": "own", "refrigerant": "R-134a", "reminders": {"charging": "<b>Door</b> shut."}}
    port.writer.create_session(setup, {"scale": {"unit": "g", "rate_hz": 1.0, "points": None}}, None, {})
    port.shown = filling(session_id="own")
    last = client.get("/api/cautions").get_json()["cautions"][-1]
    assert last == {"code": "shop-reminder", "words": "<b>Door</b> shut.", "source": SHOP_SOURCE}
    assert "&lt;b&gt;Door&lt;/b&gt; shut." in client.get("/").get_data(as_text=True)
    other = client.get("/api/cautions?stage=recovery").get_json()["cautions"]
    assert "shop-reminder" not in {caution["code"] for caution in other}


def test_cautions_follow_the_stage_on_an_open_page(phone, server, port):
    opened(phone, server, port)
    expect(phone.locator("#cautions")).to_contain_text("high-side valve closed")
    port.show(filling(0.0, stage="recovery"))
    expect(phone.locator("#cautions")).to_contain_text("80 %")
    expect(phone.locator("#cautions-title")).to_have_text("Mind: recovery")


def test_a_suggested_stage_is_taken_with_one_touch(phone, server, port):
    paired(phone, server, port)
    expect(phone.locator("#suggest")).to_be_hidden()
    port.show(filling(80.0, stage_suggested=SUGGESTED))
    expect(phone.locator("#suggest")).to_contain_text("Performance? both sides run apart")
    phone.tap("#suggest-yes")
    expect(phone.locator("#suggest")).to_be_hidden()
    assert port.did == [("mark", {"mark": "stage", "detail": {"stage": "performance"}})]


def test_who_only_watches_is_told_and_can_not_answer(phone, server, port):
    port.shown = filling(80.0, stage_suggested=SUGGESTED)
    opened(phone, server, port)
    expect(phone.locator("#suggest")).to_be_visible()
    assert phone.locator("#suggest button").count() == 0


def test_a_stage_is_left_out_with_its_reason(phone, server, port):
    paired(phone, server, port)
    phone.click("#deed-stage")
    phone.select_option("#f-skip", "vacuum_hold")
    phone.fill("#f-why", "pump's own hold is used")
    phone.click("text=Leave it out")
    expect(phone.locator("#stage-dialog")).to_be_hidden()
    detail = {"skipped": True, "stage": "vacuum_hold", "why": "pump's own hold is used"}
    assert port.did == [("mark", {"mark": "stage", "detail": detail})]


def test_a_container_is_connected_with_its_label(phone, server, port):
    paired(phone, server, port)
    phone.click("#deed-mark")
    phone.fill("#f-label", "C-12")
    phone.click("text=Container connected")
    expect(phone.locator("#mark-dialog")).to_be_hidden()
    assert port.did == [("mark", {"mark": "container_on", "detail": {"label": "C-12"}})]


@pytest.fixture
def starting(phone, server, port):
    port.shown = {**filling(), "session_id": None, "stage": "", "charge": None}
    paired(phone, server, port)
    phone.click("#deed-start")
    return phone


def test_the_plan_is_there_as_soon_as_placard_and_containers_are(starting, port):
    starting.fill("#f-placard", "620 g +/- 15 g")
    starting.fill("#f-containers", "12 oz gross 18 oz, 12 oz")
    expect(starting.locator("#plan-said li")).to_have_count(2)
    expect(starting.locator("#plan-said li").first).to_contain_text("draw all of it, about 340 g, scale 510 g to 170 g")
    starting.fill("#f-containers", "12 oz, some")
    expect(starting.locator("#placard-said")).to_contain_text("some")
    starting.fill("#f-containers", "12 oz gross 18 oz, 12 oz")
    starting.click("#session-dialog button.main")
    expect(starting.locator("#session-dialog")).to_be_hidden()
    setup = port.did[0][1]
    assert setup["container_nominal_g"] == pytest.approx(340.2, abs=0.1) and setup["containers_at_hand"]


def test_a_wrong_field_is_marked_where_it_stands(starting, port):
    starting.fill("#f-hose", "long")
    starting.click("#session-dialog button.main")
    expect(starting.locator("#session-dialog .wrong")).to_contain_text("hose_volume_ml")
    assert port.did == []
