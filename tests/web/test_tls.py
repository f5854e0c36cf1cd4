"""Pages under TLS: a real client that checks the certificate, the live feed, plain HTTP on that port, bad files."""

from __future__ import annotations

import datetime
import http.client
import socket
import ssl
from pathlib import Path

import pytest
import trustme
from cryptography.hazmat.primitives import serialization
from fake_port import filling
from playwright.sync_api import expect
from test_feed_stream import next_event, viewers_become

from web.certificate import read_certificate
from web.server import WebServer

CA = trustme.CA()
DAY = datetime.timedelta(days=1)


def pair_in(folder: Path, *names: str, **how) -> tuple[Path, Path]:
    """A certificate for `names` and its key, as files."""
    made = CA.issue_cert(*(names or ("127.0.0.1", "localhost")), **how)
    certificate, key = folder / "cart.pem", folder / "cart.key"
    certificate.write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
    key.write_bytes(made.private_key_pem.bytes())
    key.chmod(0o600)
    return certificate, key


@pytest.fixture
def trusting():
    context = ssl.create_default_context()
    CA.configure_trust(context)
    return context


@pytest.fixture
def secure(app, stop, tmp_path):
    certificate = read_certificate(*pair_in(tmp_path))
    serving = WebServer(app, "127.0.0.1", 0, stop, slots=3, tls=certificate.context)
    serving.start()
    yield serving
    serving.stop()


@pytest.fixture
def ask(secure, trusting):
    opened = []

    def send(method, path, body=None, headers=None):
        opened.append(http.client.HTTPSConnection(secure.host, secure.port, context=trusting, timeout=10))
        opened[-1].request(method, path, body, headers or {})
        return opened[-1].getresponse()

    yield send
    for connection in opened:
        connection.close()


def test_a_client_that_checks_gets_the_page_with_addresses_under_https(ask, secure):
    answer = ask("GET", "/cart")
    assert answer.status == 200 and f"https://{secure.host}:{secure.port}/" in answer.read().decode()
    assert secure.url.startswith("https://")


def test_pairing_under_tls_gives_a_cookie_for_tls_alone(ask, secure, port):
    headers = {"Content-Type": "application/json", "Origin": secure.url.rstrip("/")}
    answer = ask("POST", "/api/pair", f'{{"code": "{port.pairing.code()}"}}', headers)
    cookie = answer.headers["Set-Cookie"]
    assert "Secure" in cookie and "HttpOnly" in cookie and "SameSite=Strict" in cookie
    headers["Cookie"] = cookie.partition(";")[0]
    assert ask("POST", "/api/sessions/s-1/marks", '{"mark": "purge"}', headers).status == 201
    headers["Origin"] = f"https://elsewhere.example:{secure.port}"
    assert ask("POST", "/api/sessions/s-1/marks", '{"mark": "purge"}', headers).status == 403


def test_the_feed_lives_and_its_places_stay_counted(ask, port):
    feeds = [ask("GET", "/api/feed") for _ in range(3)]
    assert [next_event(feed)["event"] for feed in feeds] == ["now"] * 3
    port.show(filling(90.0))
    assert all(next_event(feed)["data"]["t_s"] == 90.0 for feed in feeds)
    assert ask("GET", "/api/feed").status == 503 and ask("GET", "/api/now").status == 200


def test_a_phone_that_leaves_gives_its_place_back(secure, trusting, port):
    connection = http.client.HTTPSConnection(secure.host, secure.port, context=trusting, timeout=10)
    connection.request("GET", "/api/feed")
    answer = connection.getresponse()
    assert next_event(answer)["event"] == "now" and port.feed.viewers() == 1
    answer.close()
    connection.close()
    assert viewers_become(port, 0)


def test_a_large_answer_and_a_large_body_pass_whole(ask, bearer):
    asset = ask("GET", "/api/openapi.json").read()
    assert asset.startswith(b'{"openapi"') and asset.endswith(b"}")
    answer = ask("POST", "/api/recordings", b"x" * (1 << 20), bearer)
    assert answer.status == 422 and b"neither a folder nor a zip" in answer.read()


def test_who_speaks_plain_http_is_sent_to_the_page_under_https(secure):
    plain = http.client.HTTPConnection(secure.host, secure.port, timeout=10)
    plain.request("GET", "/sessions?q=1")
    answer = plain.getresponse()
    assert (answer.status, answer.headers["Location"]) == (307, f"{secure.url}sessions?q=1")
    plain.close()


@pytest.mark.parametrize("said", [b"SSH-2.0-x\r\n\r\n", b"\x16\x03\x01\x00\x05hello", b"GET / HTTP/1.1\r\n\r\n"])
def test_what_is_neither_is_shown_the_door(secure, ask, said):
    with socket.create_connection((secure.host, secure.port), timeout=10) as stranger:
        stranger.sendall(said)
        heard = stranger.recv(1000)
        assert heard == b"" or heard.startswith((b"HTTP/1.1 400", b"\x15"))
    assert ask("GET", "/api/now").status == 200


def test_who_says_nothing_hinders_nobody(secure, ask, monkeypatch):
    monkeypatch.setattr("web.tls_front.HANDSHAKE_S", 0.2)
    silent = [socket.create_connection((secure.host, secure.port), timeout=10) for _ in range(20)]
    assert ask("GET", "/api/now").status == 200
    assert [each.recv(1) for each in silent] == [b""] * 20
    for each in silent:
        each.close()


def test_one_caller_does_not_get_every_connection_under_tls_either(secure, trusting, monkeypatch):
    monkeypatch.setattr("web.limits.LOOPBACK", ("none",))
    monkeypatch.setattr("web.limits.MOST_OF_ONE_CALLER", 3)
    held = [socket.create_connection((secure.host, secure.port), timeout=10) for _ in range(3)]
    wrapped = [trusting.wrap_socket(each, server_hostname="localhost") for each in held]
    with socket.create_connection((secure.host, secure.port), timeout=10) as fourth, pytest.raises(OSError):
        trusting.wrap_socket(fourth, server_hostname="localhost")
    wrapped[0].sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert wrapped[0].recv(12) == b"HTTP/1.1 200"
    for each in wrapped:
        each.close()


def test_nobody_else_on_the_machine_reaches_the_socket_within(app, stop, tmp_path, monkeypatch):
    context = read_certificate(*pair_in(tmp_path)).context
    made = tmp_path / "made"
    made.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(made))
    server = WebServer(app, "127.0.0.1", 0, stop, tls=context)
    server.start()
    (folder,) = made.iterdir()
    assert folder.stat().st_mode & 0o077 == 0
    with pytest.raises(OSError):
        WebServer(app, "127.0.0.1", server.port, stop, tls=context)
    assert list(made.iterdir()) == [folder]
    server.stop()
    assert list(made.iterdir()) == []


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_old_phone_with_old_tls_is_refused(secure):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.set_ciphers("ALL:@SECLEVEL=0")
    context.minimum_version, context.maximum_version = ssl.TLSVersion.MINIMUM_SUPPORTED, ssl.TLSVersion.TLSv1_1
    with socket.create_connection((secure.host, secure.port), timeout=10) as plain, pytest.raises(OSError):
        context.wrap_socket(plain)


def test_a_phone_works_under_tls(chromium, secure, port):
    context = chromium.new_context(ignore_https_errors=True, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(secure.url + "pair")
    page.fill("#f-code", port.pairing.code())
    page.click("text=Pair >> nth=-1")
    page.wait_for_url(secure.url)
    page.wait_for_selector("html[data-live=yes]")
    port.show(filling(0.0, stage="recovery"))
    expect(page.locator("#cautions-title")).to_have_text("Mind: recovery")
    (cookie,) = context.cookies()
    assert cookie["secure"] and cookie["httpOnly"]
    context.close()


def test_names_and_dates_of_a_certificate_are_known(tmp_path):
    now = datetime.datetime.now(datetime.UTC)
    good = read_certificate(*pair_in(tmp_path, "cart.shop.example", "127.0.0.1"))
    assert set(good.names) == {"cart.shop.example", "127.0.0.1"} and good.doubt(now.timestamp()) is None
    ended = read_certificate(*pair_in(tmp_path, not_before=now - 9 * DAY, not_after=now - DAY))
    assert "ended on" in ended.doubt(now.timestamp()) and "cart.pem" in ended.doubt(now.timestamp())
    early = read_certificate(*pair_in(tmp_path, not_before=now + DAY, not_after=now + 9 * DAY))
    assert "begins on" in early.doubt(now.timestamp()) and "\n" not in early.doubt(now.timestamp())


def spoil_other_key(certificate, key):
    key.write_bytes(CA.issue_cert("other").private_key_pem.bytes())


def spoil_password(certificate, key):
    plain = serialization.load_pem_private_key(key.read_bytes(), None)
    locked = serialization.BestAvailableEncryption(b"secret")
    form = serialization.PrivateFormat.PKCS8
    key.write_bytes(plain.private_bytes(serialization.Encoding.PEM, form, locked))


FAULTS = {
    "certificate missing": (
        lambda c, k: c.unlink(),
        "cart.pem: the certificate of .http. cannot be read: No",
    ),
    "key missing": (lambda c, k: k.unlink(), "cart.key: the key of .http. cannot be read: No such file"),
    "another's key": (spoil_other_key, "cart.key: this is not the key of .*cart.pem"),
    "open to all": (lambda c, k: k.chmod(0o644), "cart.key: everybody on this machine can read the key: chmod o="),
    "password": (spoil_password, "cart.key: the key has a password"),
    "no certificate": (lambda c, k: c.write_text("hello"), "cart.pem.* no certificate and key in PEM form"),
    "a folder": (lambda c, k: (c.unlink(), c.mkdir()), "cart.pem: the certificate of .http. cannot be read"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_pair_that_cannot_serve_is_named_in_one_line(tmp_path, fault):
    spoil, complaint = FAULTS[fault]
    certificate, key = pair_in(tmp_path)
    spoil(certificate, key)
    with pytest.raises(ValueError, match=complaint) as told:
        read_certificate(certificate, key)
    assert "\n" not in str(told.value)
