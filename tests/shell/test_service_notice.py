"""The service manager's socket hears that the logger is up and goes on, and nothing when a part has stopped."""

from __future__ import annotations

import socket

import pytest

from logger.service_notice import Watchdog, notify


@pytest.fixture
def manager(tmp_path, monkeypatch):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        yield heard


def said(manager):
    try:
        return manager.recv(100).decode()
    except BlockingIOError:
        return None


def test_it_is_told(manager):
    notify("READY=1")
    assert said(manager) == "READY=1"


def test_a_ping_needs_progress_of_every_part(manager):
    watchdog = Watchdog()
    assert watchdog.look((1, 5, 9)) and said(manager) == "WATCHDOG=1"
    assert not watchdog.look((2, 5, 10)) and said(manager) is None
    assert watchdog.look((3, 6, 11)) and said(manager) == "WATCHDOG=1"
    assert not watchdog.look((3, 6, 11)) and said(manager) is None


def test_without_a_manager_nothing_happens(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    notify("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", "/none/such")
    notify("READY=1")
