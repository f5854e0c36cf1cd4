"""The page of one session in a browser: notes of the job, photos, a reviewer's word, units, the report."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from test_live_page import paired

from logger.record.decisions import decide

VIN = "1G4AH59H45G118341"
PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c4944415478da63606060000000040001f61738"
    "550000000049454e44ae426082"
)


@pytest.fixture
def session(phone, server, port):
    paired(phone, server, port)
    phone.goto(server.url + "sessions/s-0#job")
    return phone


def kept(port) -> dict:
    return port.store.findings("s-0").get("job") or {}


def test_the_job_is_noted_and_only_what_changed_is_sent(session, port):
    expect(session.locator("#job-edit")).to_have_attribute("open", "")
    session.fill("#j-vin", VIN[:8])
    expect(session.locator("#vin-said")).to_have_text("8 of 17 characters")
    session.fill("#j-vin", VIN)
    expect(session.locator("#vin-said")).to_have_text("Check digit 4 matches.")
    session.fill("#j-odometer", "90 000")
    session.select_option("#j-part-1", "condenser")
    expect(session.locator(".part .hint").first).to_have_text("30 ml")
    session.fill("#j-oil-1", "30")
    session.click("#more-parts")
    session.select_option("#j-part-1-1", "evaporator")
    session.fill("#j-technician", "A. Someone")
    session.click("text=Keep the notes")
    expect(session.locator("#job .plainlist")).to_contain_text("evaporator")
    parts = [{"part": "condenser", "oil_ml": 30.0}, {"part": "evaporator"}]
    assert kept(port) == {"vin": VIN, "odometer_km": 90000.0, "parts": parts, "technician": "A. Someone"}
    assert port.store.marks("s-0")[-1].detail["job"].keys() == kept(port).keys()


def test_a_wrong_vin_is_said_beside_it_and_not_kept(session, port):
    session.fill("#j-vin", VIN.replace("59H4", "59H5"))
    expect(session.locator("#vin-said")).to_contain_text("should be 4")
    session.click("text=Keep the notes")
    expect(session.locator("#job-form .wrong")).to_contain_text("check digit")
    expect(session.locator("#j-vin")).to_have_attribute("aria-invalid", "true")
    assert kept(port) == {}


def test_a_photo_is_kept_and_shown(session, port):
    session.click("text=Add a photo")
    picture = {"name": "placard.png", "mimeType": "image/png", "buffer": PIXEL}
    session.set_input_files("#j-photo", picture)
    session.click("text=Keep the photo")
    expect(session.locator(".photo img")).to_have_count(1)
    session.locator(".photo img").scroll_into_view_if_needed()
    expect(session.locator(".photo img")).to_have_js_property("naturalWidth", 1)


def test_a_reviewer_returns_and_signs_off(session, port):
    session.click("text=Sign off, or return with a note")
    session.fill("#d-reviewer", "B. Checker")
    session.click("#decision button[value=returned]")
    expect(session.locator("#decision .wrong")).to_contain_text("why")
    session.fill("#d-note", "the odometer is missing")
    session.click("#decision button[value=returned]")
    expect(session.locator("#decision .log")).to_contain_text("Returned by B. Checker: the odometer is missing")
    decide(port.writer, "s-0", "signed", "B. Checker")
    session.reload()
    expect(session.locator("#job")).to_contain_text("Signed off: return it below")
    expect(session.locator("#job form")).to_have_count(0)


def test_figures_of_the_server_follow_the_readers_units(session):
    expect(session.locator(".headline b")).to_have_text("448.6 g")
    session.click("text=Units on this phone")
    session.get_by_label("oz", exact=True).check()
    expect(session.locator(".headline b")).to_have_text("15.82 oz")
    session.get_by_label("micron", exact=True).check()
    expect(session.locator("data[data-unit=Pa]").first).to_contain_text("micron")


@pytest.mark.parametrize(("units", "word"), [("", "449 g"), ("?units=us", " oz")])
def test_the_report_to_print_is_a_page_that_may_do_nothing(client, units, word):
    answer = client.get(f"/api/sessions/s-0/report.html{units}")
    assert answer.status_code == 200 and word in answer.get_data(as_text=True)
    assert "script-src" not in answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def test_unknown_units_of_a_report_are_named(client):
    answer = client.get("/api/sessions/s-0/report.pdf?units=stone")
    assert answer.status_code == 400 and "stone" in answer.get_json()["detail"]


def test_a_chart_is_looked_at_closer_without_dragging(session):
    session.click("text=Closer")
    expect(session.locator("#shown")).to_have_text("Shown: 1:00 to 3:00.")
    session.click("text=Earlier")
    expect(session.locator("#shown")).to_have_text("Shown: 0:00 to 2:00.")
    session.click("text=Whole session")
    expect(session.locator("#shown")).to_have_text("Shown: 0:00 to 4:00.")


def test_another_session_is_laid_over_this_one(session):
    lines = session.locator("#charts .trace.over")
    expect(session.locator("#charts .trace").first).to_be_attached()
    assert lines.count() == 0
    session.select_option("#over", "s-1")
    expect(lines.first).to_be_attached()
