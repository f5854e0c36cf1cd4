"""Under which names a cart may be asked: a foreign name led to its address (DNS rebinding) reads nothing."""

from __future__ import annotations

import pytest

from web.app import create_app

KNOWN = ["127.0.0.1", "192.168.4.1:8080", "[::1]:8080", "[fe80::1]", "localhost:80", "cart-1", "tarebook-cart-1.local"]
STRANGE = ["elsewhere.example", "elsewhere.example:8080", "192.168.4.1.elsewhere.example", "local.example", "1.2.3", ""]
NAMED = ["cart.shop.example", "CART.shop.example:8080", "two.carts.example", "cart.shop.example."]


@pytest.mark.parametrize("host", KNOWN)
def test_addresses_and_names_of_the_local_network_are_the_cart(client, host):
    assert client.get("/api/now", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/api/now", "/api/feed", "/api/token", "/static/x/base.css"])
@pytest.mark.parametrize("host", STRANGE)
def test_no_other_name_is(client, host, path):
    answer = client.open(path, method="POST" if path == "/api/token" else "GET", headers={"Host": host})
    assert answer.status_code in (400, 421)


def test_the_refusal_says_what_to_do(client):
    answer = client.get("/api/now", headers={"Host": "cart.shop.example"})
    assert answer.status_code == 421 and "[http]" in answer.get_json()["detail"]


@pytest.mark.parametrize("host", NAMED)
def test_names_of_the_cart_file_and_its_certificate_are_the_cart(port, tmp_path, stop, host):
    app = create_app(port, tmp_path, stop=stop, names=["cart.shop.example", "*.carts.example"])
    assert app.test_client().get("/api/now", headers={"Host": host}).status_code == 200
    for strange in ("carts.example", "a.b.carts.example", "shop.example"):
        assert app.test_client().get("/api/now", headers={"Host": strange}).status_code == 421
