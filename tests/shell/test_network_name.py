"""The cart's name, found by another program on this machine; and what is said where there is none."""

from __future__ import annotations

import sys

import pytest
from bench_cart import until

from logger.network_name import SERVICES, NetworkName, host_name


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_the_name_is_found_and_taken_back(scheme):
    zeroconf = pytest.importorskip("zeroconf", reason="the extra `name` is not installed")
    name = NetworkName("cart 1", "127.0.0.1", 8080, scheme)
    name.start()
    assert until(lambda: name.status.startswith("http") and name.status) == f"{scheme}://tarebook-cart-1.local:8080/"
    asking = zeroconf.Zeroconf(interfaces=["127.0.0.1"])
    try:
        found = asking.get_service_info(SERVICES[scheme], f"tarebook-cart-1.{SERVICES[scheme]}", 5000)
        assert found.parsed_addresses() == ["127.0.0.1"] and found.port == 8080
        twin = NetworkName("cart-1", "127.0.0.1", 8081, scheme)
        twin.start()
        assert "another machine has it" in until(lambda: twin.status.startswith("none") and twin.status)
        twin.stop()
    finally:
        asking.close()
        name.stop()


def test_without_the_package_the_cart_says_so_and_goes_on(monkeypatch, caplog):
    monkeypatch.setitem(sys.modules, "zeroconf", None)
    name = NetworkName("cart-1", "127.0.0.1", 8080)
    name.start()
    assert "pip install" in until(lambda: name.status.startswith("none") and name.status)
    name.stop()
    assert "no name on the network" in caplog.text


def test_pages_of_this_machine_alone_are_not_announced():
    name = NetworkName("cart-1", None, 8080)
    name.start()
    assert name.status.startswith("none") and "this machine only" in name.status
    name.stop()


@pytest.mark.parametrize(
    ("cart_id", "name"),
    [("Bay 2, Ümlaut", "tarebook-bay-2-mlaut"), ("--", "tarebook"), ("x" * 90, "tarebook-" + "x" * 40)],
)
def test_names_are_host_names(cart_id, name):
    assert host_name(cart_id) == name
