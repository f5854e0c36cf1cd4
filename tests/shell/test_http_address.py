"""Where the page is served."""

from __future__ import annotations

import socket

import pytest

from logger.http_address import free_near, parse_http, url_for_phones, url_of


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("127.0.0.1:8080", ("127.0.0.1", 8080)),
        (":0", ("0.0.0.0", 0)),
        ("[::1]:80", ("::1", 80)),
        ("cart.local:81", ("cart.local", 81)),
    ],
)
def test_addresses_as_they_are_written(text, address):
    assert parse_http(text) == address


@pytest.mark.parametrize("text", ["", "8080", "localhost", "localhost:http", "localhost:70000", "localhost:-1"])
def test_what_is_no_address_gets_an_example(text):
    with pytest.raises(ValueError, match="write HOST:PORT"):
        parse_http(text)


def test_a_taken_port_gives_way_to_a_free_one():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert free_near("127.0.0.1", port) not in (0, port)
    with pytest.raises(OSError, match="no such address"):
        free_near("192.0.2.1", 8080)


def test_the_page_has_an_address_here_and_one_for_others():
    assert url_of("0.0.0.0", 8080) == "http://127.0.0.1:8080/"
    assert url_of("::1", 80) == "http://[::1]:80/"
    assert url_for_phones("127.0.0.1", 8080) == "http://127.0.0.1:8080/"
    assert url_for_phones("0.0.0.0", 8080).endswith(":8080/")
