"""A recording sent to the cart: judged apart, taken in whole or not at all."""

from __future__ import annotations

import io
import json
import tempfile
import zipfile

import pytest

SESSION = {
    "format": "tarebook-recording",
    "version": 1,
    "session_id": "sent-1",
    "cart_id": "cart-9",
    "started_utc": None,
    "refrigerant": "R-134a",
    "placard": {"low_g": 600, "high_g": 640},
    "channels": {"scale": {"unit": "g", "rate_hz": 10}},
}


def zipped(readings: str) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("session.json", json.dumps(SESSION))
        archive.writestr("readings.csv", readings)
        archive.writestr("marks.csv", "t_s,mark,detail\n")
    return content.getvalue()


def rows(count: int) -> str:
    return "t_s,channel,value\n" + "".join(f"{i / 10:.1f},scale,5000.0\n" for i in range(count))


def test_a_whole_recording_is_listed_afterwards(client, bearer):
    answer = client.post("/api/recordings", data=zipped(rows(40)), content_type="application/zip", headers=bearer)
    assert answer.status_code == 201 and answer.get_json() == {"session_id": "sent-1"}
    assert client.get("/api/sessions/sent-1/findings").get_json()["session_id"] == "sent-1"


@pytest.mark.parametrize(
    "content", [b"no zip", zipped(rows(3) + "0.1,scale,1\n"), zipped("t_s,channel,value\n0,nose,1\n")]
)
def test_a_bad_one_is_refused_in_one_line_and_leaves_nothing(client, bearer, content):
    before = client.get("/api/sessions").get_json()
    answer = client.post("/api/recordings", data=content, content_type="application/zip", headers=bearer)
    assert answer.status_code == 422 and "\n" not in answer.get_json()["detail"]
    assert tempfile.gettempdir() not in answer.get_json()["detail"]
    assert client.get("/api/sessions").get_json() == before


def test_moments_of_a_kept_session(client):
    moments = client.get("/api/sessions/s-0/moments?points=20").get_json()["moments"]
    assert 10 <= len(moments) <= 45
    assert moments[-1]["charge"]["delivered_g"] > moments[0]["charge"]["delivered_g"]
    assert [m["t_s"] for m in moments] == sorted(m["t_s"] for m in moments)


def test_a_kept_session_leaves_as_a_recording(client):
    answer = client.get("/api/sessions/s-0/recording.zip")
    assert answer.status_code == 200 and answer.mimetype == "application/zip"
    assert 'filename="s-0.zip"' in answer.headers["Content-Disposition"]
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        inside = {name.rsplit("/")[-1]: name for name in archive.namelist()}
        assert {"session.json", "readings.csv", "marks.csv"} <= set(inside)
        assert json.loads(archive.read(inside["session.json"]))["session_id"] == "s-0"


def test_a_kept_session_leaves_as_a_report(client):
    answer = client.get("/api/sessions/s-0/report.pdf")
    assert answer.status_code == 200 and answer.data.startswith(b"%PDF-")
