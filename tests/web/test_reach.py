"""A phone that slept or walked out of reach: it tries again by itself, also where the network swallows all it says."""

from __future__ import annotations

import contextlib
import socket
import threading

import pytest
from fake_port import alert, filling
from playwright.sync_api import expect


class Swallowing:
    """A way to the cart that, while `shut`, takes every connection and lets nothing through, as a lost Wi-Fi does."""

    def __init__(self, port: int):
        self._to, self.shut = port, threading.Event()
        self._ends: list[socket.socket] = []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._door.getsockname()[1]}/"
        self._threads = [threading.Thread(target=self._serve)]
        self._threads[0].start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._door.accept()
                self._ends.append(near)
                if not self.shut.is_set():
                    far = socket.create_connection(("127.0.0.1", self._to))
                    self._ends.append(far)
                    for one, other in ((near, far), (far, near)):
                        self._threads.append(threading.Thread(target=self._carry, args=(one, other)))
                        self._threads[-1].start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while said := one.recv(65536):
                if self.shut.is_set():
                    return  # and both ends stay open
                other.sendall(said)
            other.shutdown(socket.SHUT_WR)

    def close(self) -> None:
        for end in (self._door, *self._ends):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
        for thread in self._threads:
            thread.join(5)


@pytest.fixture
def way(server):
    made = Swallowing(server.port)
    yield made
    made.close()


def test_a_network_that_swallows_everything_is_noticed_and_left_behind(phone, port, way):
    port.live()
    phone.goto(way.url)
    phone.wait_for_selector("html[data-live=yes]")
    way.shut.set()
    expect(phone.locator("body")).to_have_attribute("data-away", "")
    expect(phone.locator("#link")).to_contain_text("Cart out of reach for")
    port.show(filling(90.0, [alert(5, "container-empty", "caution", "The container is empty.")]))
    way.shut.clear()
    expect(phone.locator("#link")).to_have_text("live")
    expect(phone.locator(".alert.caution")).to_contain_text("The container is empty.")


def test_a_phone_that_wakes_asks_at_once(phone, server, port):
    phone.goto(server.url)
    phone.wait_for_selector("html[data-live=yes]")
    port.shown = filling(100.0)
    with phone.expect_response("**/api/now"):
        phone.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(phone.locator("#hero")).to_have_text("100")
