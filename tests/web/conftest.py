"""Fixtures of the pages' tests: a port without a cart, its app, a server and a browser."""

from __future__ import annotations

import threading

import pytest
from fake_port import FakePort

from web.app import create_app
from web.server import WebServer

CHROMIUM = "/usr/bin/chromium"
CHROMIUM_ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture
def port(tmp_path):
    made = FakePort(tmp_path)
    yield made
    made.end()


@pytest.fixture
def stop():
    event = threading.Event()
    yield event
    event.set()


@pytest.fixture
def app(port, tmp_path, stop):
    return create_app(port, tmp_path, stop=stop, slots=3, stream_life_s=30)


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture
def bearer(port):
    token = port.pairing.exchange(port.pairing.code())
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture
def server(app, stop):
    serving = WebServer(app, "127.0.0.1", 0, stop, slots=3)
    serving.start()
    yield serving
    serving.stop()


@pytest.fixture(scope="session")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api", reason="the browser tests need playwright")
    playwright.expect.set_options(timeout=15_000)
    with playwright.sync_playwright() as running:
        try:
            browser = running.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        except playwright.Error as error:
            pytest.skip(f"no browser at {CHROMIUM}: {str(error).splitlines()[0]}")
        yield browser
        browser.close()


@pytest.fixture
def phone(chromium):
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, device_scale_factor=2, is_mobile=True, has_touch=True
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page
    context.close()
