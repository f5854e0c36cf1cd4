"""Job notes, photos, decisions, containers and plans through the HTTP interface."""

from __future__ import annotations

import io

import pytest
from fake_port import FINDINGS

HERE = {"Origin": "http://localhost"}
VIN = "1G4AH59H45G118341"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(30)


def job_of(client) -> dict:
    return client.get("/api/sessions/s-0/findings").get_json()["job"]


def test_a_form_of_the_job_is_kept_in_its_types(client, port, bearer):
    form = {
        "vin": VIN.lower(),
        "odometer_km": "56 000 mi",
        "dye_ml": "7,5",
        "repair_done": "true",
        "part": ["condenser", ""],
        "oil_ml": ["30", ""],
        "part_note": ["", ""],
        "technician": "",
        "unknown": "x",
    }
    answer = client.post("/api/sessions/s-0/job", data=form, headers=bearer)
    assert answer.status_code == 303 and answer.headers["Location"] == "/sessions/s-0#job"
    assert job_of(client) == {
        "vin": VIN,
        "odometer_km": pytest.approx(56_000 * 1.609344, abs=0.1),
        "dye_ml": 7.5,
        "repair_done": True,
        "parts": [{"part": "condenser", "oil_ml": 30.0}],
    }
    taken_back = client.post("/api/sessions/s-0/job", json={"dye_ml": ""}, headers=bearer)
    assert taken_back.get_json() == {"job": {"dye_ml": None}} and "dye_ml" not in job_of(client)


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        ({"vin": VIN.replace("9H4", "9H3")}, ["vin"]),
        ({"odometer_km": "far", "technician": "A"}, ["odometer_km"]),
        ({"oil_recovered_ml": "-1", "dye_ml": "1e9"}, ["dye_ml", "oil_recovered_ml"]),
        ({"parts": [{"part": "hose", "oil_ml": "some"}]}, ["parts"]),
        ({"leak_verdict": "perhaps"}, ["leak_verdict"]),
        ({"colour": "red"}, ["colour"]),
    ],
)
def test_a_wrong_field_is_named_and_nothing_kept(client, bearer, body, fields):
    answer = client.post("/api/sessions/s-0/job", json=body, headers=bearer)
    problem = answer.get_json()
    assert answer.status_code == 422 and answer.mimetype == "application/problem+json"
    assert sorted(error["field"] for error in problem["errors"]) == fields
    assert all(name in problem["detail"] for name in fields)
    assert "job" not in client.get("/api/sessions/s-0/findings").get_json()


def test_a_vin_is_read_while_it_is_typed(client):
    assert client.post("/api/vin", json={"vin": VIN}).get_json() == {"vin": VIN, "check_digit": "matches"}
    abroad = client.post("/api/vin", json={"vin": "YZZZZZ1JZ3W386752"}).get_json()
    assert abroad["check_digit"] == "none in its region"
    wrong = client.post("/api/vin", json={"vin": VIN[:8] + "5" + VIN[9:]})
    assert wrong.status_code == 422 and "should be 4" in wrong.get_json()["errors"][0]["detail"]


def test_a_photo_comes_back_as_it_was_sent(client, bearer):
    form = {"photo": (io.BytesIO(PNG), "placard.png", "image/png"), "kind": "placard"}
    answer = client.post("/api/sessions/s-0/photos", data=form, headers=bearer)
    assert answer.status_code == 303
    number = client.get("/api/sessions/s-0").get_json()["attachments"][0]["id"]
    shown = client.get(f"/api/sessions/s-0/photos/{number}")
    assert shown.data == PNG and shown.mimetype == "image/png"
    assert shown.headers["X-Content-Type-Options"] == "nosniff"
    assert client.get("/api/sessions/s-1/photos/1").status_code == 404
    assert client.get("/api/sessions/s-0/photos/x").status_code == 404


@pytest.mark.parametrize("content", [b"<svg onload=alert(1)>", b""])
def test_what_is_no_picture_is_refused(client, bearer, content):
    answer = client.post("/api/sessions/s-0/photos", data=content, content_type="image/png", headers=bearer)
    assert answer.status_code == 422 and client.get("/api/sessions/s-0").get_json()["attachments"] == []


def test_a_reviewer_signs_off_or_returns_with_a_note(client, bearer):
    path = "/api/sessions/s-0/decision"
    unsaid = client.post(path, json={"decision": "returned", "reviewer": "B. Checker"}, headers=bearer)
    assert unsaid.status_code == 422 and "why" in unsaid.get_json()["detail"]
    assert client.post(path, json={"decision": "signed", "reviewer": "B. Checker"}, headers=bearer).status_code == 200
    assert client.get("/api/sessions/s-0").get_json()["decision"] == "signed"
    late = client.post("/api/sessions/s-0/job", json={"notes": "late"}, headers=bearer)
    assert late.status_code == 409 and "signed off" in late.get_json()["detail"]
    still_open = client.post("/api/sessions/s-1/decision", json={"decision": "signed", "reviewer": "B"}, headers=bearer)
    assert still_open.status_code == 422 and "close it" in still_open.get_json()["detail"]


def test_the_whole_shop_is_reviewed(client):
    found = client.get("/api/review").get_json()
    assert found["sessions"] == 1 and found["criteria"]["charge off target"] == {"pass": 1}


def test_a_container_is_added_corrected_and_sent_on(client, port, bearer):
    cylinder = {"label": "R-9", "kind": "recovery_cylinder", "refrigerant": "R-134a", "tare": "6.2 kg", "start": "2 lb"}
    assert client.post("/api/containers", json=cylinder, headers=bearer).status_code == 201
    one = "/api/containers/R-9"
    assert client.post(f"{one}/correct", json={"left": "900 g", "note": "weighed"}, headers=bearer).status_code == 200
    away = {"mass": "400 g", "facility": "Reclaim yard", "address": "1 Example Road"}
    assert client.post(f"{one}/send", json=away, headers=bearer).status_code == 200
    held = client.get(one).get_json()
    assert held["left_g"] == pytest.approx(500.0) and held["tare_g"] == 6200.0
    assert [m["kind"] for m in held["movements"]] == ["corrected", "sent"]
    assert held["movements"][1]["facility"] == "Reclaim yard"
    port.scale.resting_g = lambda: 6690.0
    weighed = client.post(f"{one}/weigh", json={}, headers=bearer).get_json()
    assert weighed["discrepancy_g"] == pytest.approx(-10.0)


def test_a_cylinder_says_how_much_it_takes_and_whether_air_is_in_it(client, bearer):
    """R-134a at 70 °F: 71.1 psig at saturation, air above 76 psig (SAE J2211 table 1, from memory)."""
    cylinder = {"label": "R-9", "kind": "recovery_cylinder", "refrigerant": "R-134a", "start": "2 kg"}
    assert client.post("/api/containers", json=cylinder, headers=bearer).status_code == 201
    one = "/api/containers/R-9"
    assert client.get(one).get_json()["room_g"] is None
    stamp = {"tare": "5.2 kg", "water_capacity": "10 kg"}
    assert client.post(f"{one}/stamp", json=stamp, headers=bearer).status_code == 200
    held = client.get(one).get_json()
    assert (held["tare_g"], held["most_g"]) == (5200.0, pytest.approx(9790.0, rel=2e-3))
    assert held["room_g"] == pytest.approx(held["most_g"] - 2000.0)
    soaked = {"temperature": "70 F", "stood_12_h": True, "gauge_zeroed": True}
    for pressure, verdict in (("72 psi", "pass"), ("79 psig", "air")):
        assert client.post(f"{one}/air", json={**soaked, "pressure": pressure}, headers=bearer).status_code == 200
        assert client.get(one).get_json()["air_check"]["verdict"] == verdict
    client.post(f"{one}/air", json={"pressure": "72 psi", "temperature": "70 F"}, headers=bearer)
    unjudged = client.get(one).get_json()["air_check"]
    assert unjudged["verdict"] == "not-judged" and "zero" in unjudged["why"]
    page = client.get("/containers/R-9").get_data(as_text=True)
    assert "not judged" in page and "80 %" in page


@pytest.mark.parametrize(
    ("path", "body", "status", "names"),
    [
        ("/api/containers", {"label": "", "kind": "can", "refrigerant": "R-134a"}, 422, "label"),
        ("/api/containers", {"label": "A", "kind": "bucket", "refrigerant": "R-134a"}, 422, "bucket"),
        ("/api/containers", {"label": "A", "kind": "can", "refrigerant": "R-134a", "tare": "heavy"}, 422, "tare"),
        ("/api/containers/none/correct", {"left": "1 g", "note": "x"}, 404, "none"),
        ("/api/containers/none/send", {"facility": "F", "address": "A"}, 422, "mass"),
        ("/api/containers/none/weigh", {}, 404, "none"),
        ("/api/containers/none/stamp", {"tare": "1 kg"}, 404, "none"),
        ("/api/containers/none/air", {"pressure": "70 psi", "temperature": "21 C"}, 404, "none"),
        ("/api/containers/none/air", {"pressure": "much", "temperature": "21 C"}, 422, "pressure"),
        ("/api/containers/none/air", {"pressure": "70 psi", "temperature": "-400 F"}, 422, "temperature"),
    ],
)
def test_a_container_that_cannot_be(client, bearer, path, body, status, names):
    answer = client.post(path, json=body, headers=bearer)
    assert answer.status_code == status and names in answer.get_json()["detail"]


def test_the_plan_comes_with_the_placard(client):
    body = {"placard": "620 g +/- 15 g", "containers": "2 x 12 oz, 12 oz left 5 oz", "hose_volume_ml": "60"}
    plan = client.post("/api/placard", json=body).get_json()["plan"]
    assert sum(draw["draw_g"] for draw in plan["containers"]) == pytest.approx(620 + plan["hose_allowance_g"], abs=0.1)
    assert [draw["given"] for draw in plan["containers"]] == [3, 1, 2]
    wrong = client.post("/api/placard", json={**body, "containers": "12 oz, some"})
    assert wrong.status_code == 422 and "some" in wrong.get_json()["detail"]
    assert "plan" not in client.post("/api/placard", json={"placard": "620 g"}).get_json()


@pytest.mark.parametrize(
    "path",
    ["/api/sessions/s-0/job", "/api/sessions/s-0/photos", "/api/sessions/s-0/decision", "/api/containers"],
)
def test_nothing_is_changed_without_pairing(client, port, path):
    assert client.post(path, json={"notes": "x"}).status_code == 401
    assert port.store.findings("s-0") == FINDINGS and port.did == []
