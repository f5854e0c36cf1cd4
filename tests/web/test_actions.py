"""Changing something: pairing, foreign sites, forms and bad input."""

from __future__ import annotations

import io

import pytest
from fake_port import HOSTILE, alert, filling

from logger.record.containers import Containers

CHANGES = [
    "/api/sessions",
    "/api/sessions/s-1/marks",
    "/api/sessions/s-1/close",
    "/api/alerts/over-target/ack",
    "/api/recordings",
]
HERE = {"Origin": "http://localhost"}


@pytest.fixture
def paired(client, port):
    answer = client.post("/api/pair", json={"code": port.pairing.code()}, headers=HERE)
    assert answer.status_code == 200
    return client


@pytest.mark.parametrize("path", CHANGES)
def test_unpaired_is_told_how_to_pair(client, port, path):
    answer = client.post(path, json={"mark": "purge"})
    assert answer.status_code == 401 and answer.mimetype == "application/problem+json"
    assert "/pair" in answer.get_json()["detail"] and "Bearer" in answer.headers["WWW-Authenticate"]
    assert port.did == []


def test_wrong_token_is_refused(client, port):
    answer = client.post("/api/sessions/s-1/close", headers={"Authorization": "Bearer guess"})
    assert answer.status_code == 401 and port.did == []


def test_cookie_cannot_be_read_by_scripts_nor_sent_by_other_sites(client, port):
    answer = client.post("/api/pair", json={"code": port.pairing.code()}, headers=HERE)
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie


@pytest.mark.parametrize("headers", [{"Origin": "http://elsewhere.example"}, {}, {"Origin": "null"}])
def test_cookie_counts_only_from_our_own_pages(paired, port, headers):
    answer = paired.post("/api/sessions/s-1/marks", json={"mark": "purge"}, headers=headers)
    assert answer.status_code == 403 and port.did == []


def test_pairing_itself_is_refused_to_other_sites(client, port):
    answer = client.post(
        "/api/pair", json={"code": port.pairing.code()}, headers={"Origin": "http://elsewhere.example"}
    )
    assert answer.status_code == 403 and "Set-Cookie" not in answer.headers


def test_guessing_codes_is_slowed(client):
    statuses = [client.post("/api/pair", json={"code": "nonsense"}, headers=HERE).status_code for _ in range(7)]
    assert statuses[0] == 403 and statuses[-1] == 429


def test_program_gets_a_bearer_token(client, port):
    token = client.post("/api/token", json={"code": port.pairing.code()}).get_json()["token"]
    answer = client.post(
        "/api/sessions/s-1/marks", json={"mark": "purge"}, headers={"Authorization": f"Bearer {token}"}
    )
    assert answer.status_code == 201 and port.did == [("mark", {"mark": "purge", "detail": {}})]


def test_session_begins_with_the_placard_as_typed(paired, port):
    body = {"placard": "620 g +/- 15 g", "refrigerant": "R-134a", "registration": "KX 41", "hose_volume_ml": "61,5"}
    answer = paired.post("/api/sessions", json=body, headers=HERE)
    assert answer.status_code == 201 and answer.get_json() == {"session_id": "s-2"}
    ((_, setup),) = port.did
    assert setup["placard"] == {"low_g": 605.0, "high_g": 635.0}
    assert setup["placard_text"] == "620 g +/- 15 g" and setup["hose_volume_ml"] == 61.5
    assert setup["vehicle"] == {"registration": "KX 41"}


@pytest.mark.parametrize(
    ("body", "names"),
    [
        ({"placard": "a lot"}, "write for instance"),
        ({"hose_volume_ml": "long"}, "hose_volume_ml"),
        ({"container_nominal": "-3 g"}, "-3 g"),
        ({"note": "x" * 401}, "note"),
    ],
)
def test_session_nonsense_is_named(paired, port, body, names):
    answer = paired.post("/api/sessions", json=body, headers=HERE)
    assert answer.status_code == 422 and names in answer.get_json()["detail"] and port.did == []


def test_placard_is_read_while_it_is_typed(client):
    read = client.post("/api/placard", json={"placard": "22 oz"}).get_json()
    assert read["target_g"] == pytest.approx(22 * 28.349523125) and read["tolerance_assumed"]
    wrong = client.post("/api/placard", json={"placard": "twelve"})
    assert wrong.status_code == 422 and "write for instance" in wrong.get_json()["detail"]


@pytest.mark.parametrize(
    ("body", "names"),
    [
        ({"mark": "explode"}, "explode"),
        ({}, "None"),
        ({"mark": "stage", "detail": {"stage": "lunch"}}, "lunch"),
        ({"mark": "note", "detail": "text"}, "text"),
    ],
)
def test_unknown_marks_are_named(paired, port, body, names):
    answer = paired.post("/api/sessions/s-1/marks", json=body, headers=HERE)
    assert answer.status_code == 422 and names in answer.get_json()["detail"] and port.did == []


@pytest.mark.parametrize("data", [b"{", b"[1]", b'"x"', b"\xff\xfe"])
def test_bodies_that_are_no_object(paired, port, data):
    answer = paired.post("/api/sessions/s-1/marks", data=data, content_type="application/json", headers=HERE)
    assert answer.status_code == 400 and port.did == []


def test_form_without_scripts_goes_on_to_a_page(paired, port):
    answer = paired.post("/api/sessions/s-1/marks", data={"mark": "stage", "stage": "charging"}, headers=HERE)
    assert answer.status_code == 303 and answer.headers["Location"] == "/"
    assert port.did == [("mark", {"mark": "stage", "detail": {"stage": "charging"}})]


def test_only_the_open_session_is_changed(paired, port):
    for path in ("/api/sessions/s-0/close", "/api/sessions/s-0/marks"):
        assert paired.post(path, json={"mark": "purge"}, headers=HERE).status_code == 409
    assert paired.post("/api/sessions/s-1/close", headers=HERE).status_code == 200
    assert port.did == [("close", None)]


def test_only_a_standing_alert_is_acknowledged(paired, port):
    assert paired.post("/api/alerts/over-target/ack", headers=HERE).status_code == 404
    port.shown = filling(alerts=[alert(1, "over-target", "danger", "too much")])
    assert paired.post("/api/alerts/over-target/ack", headers=HERE).status_code == 200
    assert port.did == [("ack", "over-target")]


def test_bodies_beyond_the_limit_are_refused(client, bearer):
    answer = client.post("/api/sessions", data=b"x" * 70_000, content_type="application/json", headers=bearer)
    assert answer.status_code == 413 and answer.mimetype == "application/problem+json"


def test_empty_upload_is_named(client, bearer):
    answer = client.post("/api/recordings", data={"recording": (io.BytesIO(b""), "x.zip")}, headers=bearer)
    assert answer.status_code == 400 and "recording" in answer.get_json()["detail"]


PLACES = ["/", "/sessions", "/sessions?q=%3Cscript%3E", "/sessions/bad", "/sessions/s-1", "/review", "/containers"]
PLACES += ["/containers/C-12", "/cart", "/sessions/%3Cscript%3Edocument.title"]


@pytest.mark.parametrize("path", PLACES)
def test_hostile_text_stays_text(client, port, path):
    """In a vehicle's name and note, a container's, an alert, a link of the cart, a search, an address."""
    port.shown = {**filling(), "network_name": HOSTILE, "links": {HOSTILE: HOSTILE}}
    port.shown["alerts"] = [alert(1, "sensor-stale", "caution", HOSTILE)]
    setup = {"session_id": "bad", "refrigerant": HOSTILE, "vehicle": {"registration": HOSTILE, "note": HOSTILE}}
    port.writer.close_session("s-1")
    port.writer.create_session(setup, {}, "2026-05-05T08:00:00Z", {})
    port.writer.set_findings("bad", {"session_id": "bad", "job": {"technician": HOSTILE, "notes": HOSTILE}})
    port.writer.close_session("bad")
    Containers(port.writer).add(HOSTILE[:40], "can", "R-134a", tare_g=180.0, full_g=340.0, note=HOSTILE)
    text = client.get(path, headers={"Accept": "text/html"}).get_data(as_text=True)
    assert "<script>document" not in text and "<script>&#34;" not in text
    assert "&lt;script&gt;" in text
