"""Gather the closed sessions of every cart on a broker into one Parquet data set, for review over all carts.

DIR then holds readings/ and sessions/, partitioned by cart and month, for any engine that reads Parquet; and
`tarebook review --dataset DIR`. A transfer that broke off goes on with the next run. A session that has changed on its
cart comes again. Exit 1 when something was left. On a broker with passwords it needs a user that may ask, for instance
`collector` of hardware/pi/files/mosquitto.acl.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from urllib.parse import urlsplit

HELP = "gather the sessions of every cart on a broker into one data set"

USUAL_PORT, USUAL_TLS_PORT = 1883, 8883


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--broker", required=True, metavar="HOST[:PORT]", help="where the carts publish")
    parser.add_argument("--into", required=True, type=Path, metavar="DIR", help="the data set's folder")
    parser.add_argument("--username", metavar="NAME", help="to enter the broker with")
    parser.add_argument("--password-file", metavar="FILE", help="holds the password alone")
    parser.add_argument("--tls", action="store_true", help="an encrypted connection")
    parser.add_argument("--ca-file", metavar="FILE", help="certificates to trust (default: the system's)")


def run(args: argparse.Namespace) -> int:
    from logger.publish.broker_link import BrokerSettings

    host, port = place_of(args.broker, args.tls)
    settings = BrokerSettings(host, port, args.username, args.password_file, args.tls, args.ca_file)
    try:
        from logger.collect import Collector
    except ImportError:
        raise ValueError("the data set needs pyarrow: install it with pip install 'tarebook[parquet]'") from None
    reports = Collector(settings, args.into).run()
    for report in reports:
        print(report)
    if not reports:
        print(f"No cart on {host}:{port} has a recording to give.")
    return int(any(report.left for report in reports))


def place_of(text: str, tls: bool) -> tuple[str, int]:
    """Host and port of `HOST[:PORT]`. Raises ValueError."""
    try:
        parts = urlsplit(f"//{text}")
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or parts.path or parts.username:
        raise ValueError(f"--broker {text!r}: write HOST or HOST:PORT, for instance shop-broker:1883")
    return host, port or (USUAL_TLS_PORT if tls else USUAL_PORT)
