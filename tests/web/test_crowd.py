"""A crowd of phones that only hold their connections keeps nobody from the page."""

from __future__ import annotations

import resource
import socket
import urllib.request

import pytest
from waitress.server import TcpWSGIServer

from web.doorkeeper import MOST_CONNECTIONS, ROOM, SPARE_DESCRIPTORS, most_connections


def crowd(server, count: int, says: bytes = b"") -> list[socket.socket]:
    """So many connections that say `says` and never read."""
    made = []
    for _ in range(count):
        each = socket.create_connection((server.host, server.port), timeout=10)
        each.sendall(says)
        made.append(each)
    return made


def asked(server) -> int:
    with urllib.request.urlopen(server.url + "api/now", timeout=10) as answer:
        return answer.status


@pytest.fixture
def narrow(monkeypatch):
    """A server with room for twenty connections."""
    monkeypatch.setattr("web.server.most_connections", lambda: 20)


@pytest.mark.parametrize("says", [b"", b"GET /api/now HTTP/1.1\r\nHost: x\r\n\r\n", b"GET / HT"], ids=repr)
def test_those_who_come_are_served_though_every_place_is_held(narrow, server, says):
    held = crowd(server, 60, says)
    assert [asked(server) for _ in range(3)] == [200] * 3
    for each in held:
        each.close()


def test_a_phone_that_is_quiet_for_long_is_let_go_of(server, monkeypatch):
    monkeypatch.setattr("web.doorkeeper.QUIET_S", 0.3)
    (held,) = crowd(server, 1)
    held.settimeout(20)
    assert held.recv(1) == b""
    held.close()


def test_running_out_of_descriptors_costs_the_quiet_ones_and_is_said_once(server, monkeypatch, caplog):
    came = iter([OSError(24, "Too many open files")] * 3)
    real = TcpWSGIServer.accept

    def accept(self):
        if (error := next(came, None)) is not None:
            raise error
        return real(self)

    monkeypatch.setattr(TcpWSGIServer, "accept", accept)
    assert asked(server) == 200
    assert [record.getMessage() for record in caplog.records if "Too many open files" in record.getMessage()] == [
        "no connection can be taken: Too many open files; those that nobody uses are closed"
    ]


def test_pages_leave_descriptors_for_the_rest_of_the_program(monkeypatch):
    soft = iter([1024, 400, 64])
    monkeypatch.setattr(resource, "getrlimit", lambda which: (next(soft), 4096))
    assert [most_connections() for _ in range(3)] == [MOST_CONNECTIONS, 400 - SPARE_DESCRIPTORS, 2 * ROOM]
