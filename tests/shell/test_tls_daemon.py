"""`tarebook run` with a certificate in its cart file: addresses under https, the cart's own names, bad pairs named."""

from __future__ import annotations

import datetime
import ssl
import urllib.error
import urllib.request

import pytest
import trustme
from bench_cart import BenchCart, LoggerProcess

from firmware_bridge.cart import CartError, load_cart
from logger.cart_check import check_page
from logger.daemon import Daemon
from logger.wallclock import WallClock

CA = trustme.CA()
HTTP = '[http]\ncertificate = "cart.pem"\nkey = "cart.key"\n'


@pytest.fixture
def bench(tmp_path):
    cart = BenchCart(tmp_path / "cart")
    yield cart
    cart.stop()


def put_pair(bench, **how) -> None:
    made = CA.issue_cert("127.0.0.1", "cart.shop.example", **how)
    (bench.folder / "cart.pem").write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
    key = bench.folder / "cart.key"
    key.write_bytes(made.private_key_pem.bytes())
    key.chmod(0o600)


def trusting() -> ssl.SSLContext:
    context = ssl.create_default_context()
    CA.configure_trust(context)
    return context


def asked(url: str, **headers: str) -> int:
    request = urllib.request.Request(url, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=10, context=trusting()) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


def test_the_logger_serves_under_tls_and_reads_the_whole_http_table(bench, tmp_path):
    put_pair(bench)
    more = HTTP + 'token_to_read = true\nnames = ["proxy.shop.example"]\n'
    daemon = Daemon(bench.cart(more=more), tmp_path / "data", "127.0.0.1:0", clock=bench.clock)
    daemon.start()
    try:
        assert daemon.url.startswith("https://127.0.0.1:") and daemon.url == daemon.url_for_phones
        token = daemon.port.pairing.exchange(daemon.port.pairing.code())
        assert asked(daemon.url + "api/now") == 401
        bearer = {"Authorization": f"Bearer {token}"}
        hosts = ("cart.shop.example", "proxy.shop.example", "other.shop.example")
        assert [asked(daemon.url + "api/now", Host=host, **bearer) for host in hosts] == [200, 200, 421]
    finally:
        daemon.stop()


def test_an_expired_certificate_stops_no_cart_and_is_said(bench, tmp_path):
    ended = datetime.datetime.now(datetime.UTC) - datetime.timedelta(days=1)
    put_pair(bench, not_before=ended - datetime.timedelta(days=9), not_after=ended)
    logger = LoggerProcess(bench.file(more=HTTP), tmp_path / "data")
    try:
        assert logger.wait_for("Page").split()[1].startswith("https://")
        assert "the certificate ended on" in logger.wait_for("Certificate ")
    finally:
        logger.close()


def test_a_pair_that_cannot_serve_ends_the_start_with_one_line(bench, tmp_path):
    put_pair(bench)
    (bench.folder / "cart.key").chmod(0o604)
    with pytest.raises(ValueError, match="cart.key: everybody on this machine can read the key"):
        Daemon(bench.cart(more=HTTP), tmp_path / "data", "127.0.0.1:0", clock=bench.clock)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('[http]\ncertificate = "cart.pem"', r"\[http\] key is missing: a certificate serves only with its key"),
        ('[http]\nkey = "cart.key"', r"\[http\] certificate is missing"),
        ("[http]\nnames = 3", r"\[http\] names = 3 is not texts in brackets"),
        ('[http]\nnames = ["a", 3]', r"\[http\] names = .* is not texts in brackets"),
        ("[http]\ncertificat = 1", r"\[http\] unknown key 'certificat', did you mean 'certificate'"),
    ],
)
def test_a_wrong_http_table_is_named(bench, text, complaint):
    with pytest.raises(CartError, match=complaint):
        load_cart(bench.file(more=text))


def test_check_cart_looks_at_the_certificate(bench):
    def line(more: str):
        return check_page(bench.cart(more=more).http, WallClock(keeps_time=lambda: True))

    assert line("").outcome == "good" and "clear text" in line("").text
    put_pair(bench)
    assert line(HTTP).outcome == "good" and "cart.shop.example" in line(HTTP).text
    ended = datetime.datetime.now(datetime.UTC) - datetime.timedelta(days=1)
    put_pair(bench, not_before=ended - datetime.timedelta(days=9), not_after=ended)
    assert line(HTTP).outcome == "look" and "ended on" in line(HTTP).text
    (bench.folder / "cart.key").write_text("no key")
    assert line(HTTP).outcome == "bad" and "cart.key" in line(HTTP).text
