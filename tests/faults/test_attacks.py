"""What somebody on the shop's network tries against the page, each with a real request, and what he gets."""

from __future__ import annotations

import http.client
import io
import json
import re
import select
import socket
import subprocess
import threading
import time
import zipfile

import pytest
from fake_port import HOSTILE, FakePort, filling

from web import limits
from web.app import create_app
from web.server import WebServer

ODD = [
    "..%2f..%2f..%2fetc%2fpasswd",
    "%2e%2e",
    "..%5cx",
    "a%0d%0aX-Mine:%201",
    "%00",
    "-rf",
    "--data",
    "%ff",
    "A" * 4000,
]
HERE = {"Origin": "http://localhost"}


@pytest.fixture
def port(tmp_path):
    made = FakePort(tmp_path)
    yield made
    made.end()


@pytest.fixture
def app(port, tmp_path):
    stop = threading.Event()
    yield create_app(port, tmp_path, stop=stop, slots=4)
    stop.set()


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture
def bearer(port):
    return {"Authorization": f"Bearer {port.pairing.exchange(port.pairing.code())}"}


@pytest.fixture
def server(app):
    stop = threading.Event()
    serving = WebServer(app, "127.0.0.1", 0, stop, slots=4)
    serving.start()
    yield serving
    serving.stop()


def raw(server, head: str, body: bytes = b"") -> bytes:
    """What is said to a request written by hand, up to its end."""
    with socket.create_connection((server.host, server.port), timeout=20) as line:
        line.sendall(head.replace("\n", "\r\n").encode() + b"\r\n\r\n" + body)
        heard = b""
        try:
            while piece := line.recv(65536):
                heard += piece
        except ConnectionResetError:
            pass
        return heard


@pytest.mark.parametrize("odd", ODD, ids=lambda odd: odd[:24])
def test_no_id_leads_out_of_its_place_or_into_a_header(app, client, bearer, odd):
    for rule in [rule for rule in app.url_map.iter_rules() if rule.arguments]:
        for method in sorted(rule.methods & {"GET", "POST"}):
            answer = client.open(re.sub(r"<\w+>", odd, rule.rule), method=method, headers=bearer, json={})
            assert 400 <= answer.status_code < 500, (method, rule.rule)
            assert "root:" not in answer.text and "X-Mine" not in answer.headers


@pytest.mark.parametrize("body", ["[" * 30000, '{"a":' * 10000, '"' + "\\ud800" * 9, '{"code": 1e999}', "\xff"])
def test_no_body_makes_the_cart_fail(client, bearer, caplog, body):
    paths = client.get("/api/openapi.json").get_json()["paths"]
    for path in [re.sub(r"\{\w+\}", "s-1", path) for path, methods in paths.items() if "post" in methods]:
        headers = {**bearer, **HERE, "Content-Type": "application/json"}
        assert client.post(path, data=body.encode("latin-1"), headers=headers).status_code < 500, path
    assert "Traceback" not in caplog.text


def test_a_label_cannot_write_a_header_or_a_path(client, bearer, port):
    for label in ("a\r\nSet-Cookie: x=1", "..", "a\x1b[2J", "x" * 81):
        form = {"label": label, "kind": "can", "refrigerant": "R-134a", "full": "340 g", "tare": "180 g"}
        answer = client.post("/api/containers", data=form, headers={**bearer, "Accept": "text/html"})
        assert answer.status_code == 422 and "Set-Cookie" not in answer.headers
        assert client.post("/api/containers", json=form, headers=bearer).status_code == 422


def test_a_path_cannot_forge_a_line_of_the_log(client, port, caplog, monkeypatch):
    monkeypatch.setattr(port.store, "session", lambda session_id: 1 / 0)
    assert client.get("/sessions/x%0aINFO%20forged").status_code == 500
    assert "request failed" in caplog.text
    assert not [
        line for record in caplog.records for line in record.getMessage().splitlines() if line.startswith("INFO")
    ]


def test_no_other_site_may_read_or_ask_leave_to_write(client):
    there = {"Origin": "http://elsewhere.example"}
    asks = {**there, "Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization"}
    for answer in (client.get("/api/now", headers=there), client.options("/api/valve", headers=asks)):
        assert not [name for name, _ in answer.headers if name.startswith("Access-Control")]
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"


def test_no_page_can_be_framed_not_even_one_that_says_no(client):
    for path in ("/", "/sessions/none", "/nowhere"):
        answer = client.get(path, headers={"Accept": "text/html"})
        assert answer.headers["X-Frame-Options"] == "DENY" and "frame-ancestors 'none'" in str(answer.headers)


def test_another_site_cannot_use_up_the_tries_of_a_code(client, port):
    for path in ("/api/pair", "/api/token"):
        for _ in range(6):
            answer = client.post(path, data={"code": "x"}, headers={"Origin": "http://elsewhere.example"})
            assert answer.status_code == 403 and "origin" in answer.get_json()["title"].lower()
    assert client.post("/api/token", json={"code": port.pairing.code()}).status_code == 201


def test_many_who_guess_at_once_get_five_tries_between_them(server, port):
    said, begin = [], threading.Barrier(12)

    def guess(k):
        line = http.client.HTTPConnection(server.host, server.port, timeout=20)
        begin.wait()
        for n in range(3):
            line.request("POST", "/api/token", json.dumps({"code": f"x{k}{n}"}), {"Content-Type": "application/json"})
            answer = line.getresponse()
            answer.read()
            said.append(answer.status)
        line.close()

    guessing = [threading.Thread(target=guess, args=(k,)) for k in range(12)]
    for each in guessing:
        each.start()
    for each in guessing:
        each.join()
    assert sorted(said) == [403] * 5 + [429] * 31 and port.pairing.devices() == []


def test_a_strangers_long_body_is_refused_before_it_is_sent(server):
    """The head alone is sent: an answer that waited for the body would never come."""
    for path, status in (("/api/recordings", b"401"), ("/api/sessions/s-1/photos", b"401"), ("/api/placard", b"413")):
        for more in ("", "\nExpect: 100-continue", "\nAuthorization: Bearer " + "0" * 64):
            heard = raw(server, f"POST {path} HTTP/1.1\nHost: localhost\nContent-Length: 60000000{more}")
            assert heard.startswith(b"HTTP/1.1 " + status) and b"application/problem+json" in heard, (path, more)


def test_a_body_of_unknown_length_ends_where_a_stranger_must(server, bearer):
    head = "POST /api/recordings HTTP/1.1\nHost: localhost\nTransfer-Encoding: chunked"
    chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    assert raw(server, head, chunk * 3 + b"0\r\n\r\n").startswith((b"HTTP/1.1 413", b""))
    known = f"{head}\nConnection: close\nAuthorization: {bearer['Authorization']}"
    assert raw(server, known, chunk * 3 + b"0\r\n\r\n").startswith(b"HTTP/1.1 422")


def test_one_caller_does_not_get_every_connection(server, monkeypatch):
    monkeypatch.setattr(limits, "LOOPBACK", ("none",))
    monkeypatch.setattr(limits, "MOST_OF_ONE_CALLER", 5)
    drips = []
    for _ in range(5):
        drips.append(socket.create_connection((server.host, server.port), timeout=20))
        drips[-1].sendall(b"GET /api/now HT")
    time.sleep(0.2)
    with socket.create_connection((server.host, server.port), timeout=20) as sixth:
        sixth.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
        with pytest.raises(ConnectionError):
            raise ConnectionResetError if sixth.recv(100) == b"" else AssertionError("it was answered")
    for drip in drips:
        drip.sendall(b"TP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        assert drip.recv(12) == b"HTTP/1.1 200"
        drip.close()


def test_reports_asked_for_without_end_leave_the_live_page_alone(server, app, port, monkeypatch):
    at_work, go_on = threading.Event(), threading.Event()

    def slow(*_, **__):
        at_work.set()
        go_on.wait(60)
        raise subprocess.TimeoutExpired("report", 1)

    monkeypatch.setattr("web.heavy.subprocess.run", slow)
    asked = [http.client.HTTPConnection(server.host, server.port, timeout=60) for _ in range(20)]
    for each in asked:
        each.request("GET", "/api/sessions/s-0/report.pdf")
    assert at_work.wait(20)
    line = http.client.HTTPConnection(server.host, server.port, timeout=15)
    line.request("GET", "/api/now")
    assert line.getresponse().status == 200, "while those who ask for reports wait"
    sent_away: list = []
    for _ in range(200):
        sent_away, _, _ = select.select([each.sock for each in asked], [], [], 0)
        if len(sent_away) == 16:
            break
        time.sleep(0.1)
    assert len(sent_away) == 16, "all but the one at work and three who wait"
    go_on.set()
    assert {each.getresponse().status for each in asked} == {503}
    for each in (*asked, line):
        each.close()


def a_zip(**files: bytes) -> io.BytesIO:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name.replace("__", "."), content)
    return made


def of_many_files() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for number in range(30_000):
            archive.writestr(f"{number}.txt", b"")
    return made.getvalue()


def of_a_zip_within() -> bytes:
    inner = a_zip(session__json=b" " * (20 << 20)).getvalue()
    return a_zip(session__json=inner, readings__csv=inner, marks__csv=inner).getvalue()


def of_a_link() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in ("session.json", "readings.csv", "marks.csv"):
            link = zipfile.ZipInfo(name)
            link.external_attr = 0o120777 << 16
            archive.writestr(link, "/etc/passwd")
    return made.getvalue()


def of_a_lie_about_sizes() -> bytes:
    """Its list says a byte; what comes out is 50 MB."""
    whole = bytearray(a_zip(session__json=b" " * (50 << 20), readings__csv=b"", marks__csv=b"").getvalue())
    at = whole.rfind(b"session.json") - 46
    whole[at + 24 : at + 28] = (1).to_bytes(4, "little")
    return bytes(whole)


def of_a_list_elsewhere() -> bytes:
    """With a locator of the 64-bit form, whose record may claim anything."""
    whole = a_zip(session__json=b"{}").getvalue()
    at = whole.rfind(b"PK\x05\x06")
    return whole[:at] + b"PK\x06\x07" + bytes(16) + whole[at:]


BOMBS = [of_many_files, of_a_zip_within, of_a_link, of_a_lie_about_sizes, of_a_list_elsewhere]


@pytest.mark.parametrize("bomb", BOMBS, ids=lambda bomb: bomb.__name__)
def test_a_hostile_zip_is_one_line_and_nothing_kept(client, bearer, port, bomb):
    before = len(port.store.sessions())
    answer = client.post("/api/recordings", data=bomb(), headers=bearer)
    assert answer.status_code == 422 and len(answer.get_json()["detail"].splitlines()) == 1
    assert "root:" not in answer.text and len(port.store.sessions()) == before


PICTURES = {
    "html as jpeg": ("image/jpeg", b"\xff\xd8\xff<script>alert(1)</script>", 201),
    "svg": ("image/svg+xml", b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", 422),
    "html": ("text/html", b"<script>alert(1)</script>", 422),
    "svg as png": ("image/png", b"<svg/>", 422),
    "none": ("", b"\xff\xd8\xff", 422),
}


@pytest.mark.parametrize("kind", PICTURES)
def test_a_picture_is_never_served_as_anything_else(client, bearer, kind):
    media, content, status = PICTURES[kind]
    answer = client.post("/api/sessions/s-0/photos", data=content, headers={**bearer, "Content-Type": media})
    assert answer.status_code == status
    if status == 201:
        shown = client.get(f"/api/sessions/s-0/photos/{answer.get_json()['photo']}")
        assert shown.mimetype == media and shown.headers["X-Content-Type-Options"] == "nosniff"


def test_what_machines_watch_says_nothing_of_vehicles_people_or_keys(client, bearer, port):
    port.pairing.exchange(port.pairing.code(), "phone of A. Someone")
    port.show(filling(vehicle={"registration": "KX 41 BAY", "vin": "1G4AH59H45G118341"}))
    for path in ("/metrics", "/healthz", "/api/openapi.json", "/api/asyncapi.json", "/manifest.webmanifest"):
        text = client.get(path).text
        for secret in (
            "KX 41 BAY",
            "1G4AH59H45G118341",
            "A. Someone",
            HOSTILE,
            port.pairing.code(),
            bearer["Authorization"],
        ):
            assert secret not in text, path
    assert "A. Someone" not in client.get("/cart").text + client.get("/api/now").text


def test_a_cookie_kept_by_somebody_is_worth_nothing_after_revoking(client, port):
    client.post("/api/pair", json={"code": port.pairing.code(), "name": "lost"}, headers=HERE)
    assert client.post("/api/sessions/s-1/marks", json={"mark": "purge"}, headers=HERE).status_code == 201
    port.pairing.revoke(port.pairing.devices()[0]["device_id"])
    for path in ("/api/sessions/s-1/marks", "/api/valve", "/api/sessions", "/api/phones/x/revoke"):
        assert client.post(path, json={"mark": "purge", "open": True}, headers=HERE).status_code == 401
    assert port.did == [("mark", {"mark": "purge", "detail": {}})]
