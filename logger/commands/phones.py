"""List the phones and programs that are paired with the cart, and take the pairing back from one that is lost.

--revoke works beside the running logger and takes effect at once: that phone may go on looking, as anybody on the
cart's network may, but changes nothing until it is paired anew. Last visits are written down once an hour.
"""

from __future__ import annotations

import argparse
import json

from logger.paths import add_data_argument

HELP = "the paired phones; --revoke takes the pairing back from one"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--revoke", metavar="ID", help="take the pairing back from this one")
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.paired_devices import PairedDevices
    from logger.pairing import PAIRING_FILE, Pairing

    file = args.data / PAIRING_FILE
    PairedDevices(file).read()
    pairing = Pairing(file)
    phones = pairing.devices()
    if args.revoke is not None:
        return _revoke(pairing, args.revoke, phones)
    if args.json:
        print(json.dumps({"phones": phones}, indent=2, ensure_ascii=False))
        return 0
    for phone in phones:
        print(line_of(phone))
    if not phones:
        print(f"No phone is paired in {args.data}.")
    return 0


def _revoke(pairing, device_id: str, phones: list[dict]) -> int:
    if not pairing.revoke(device_id):
        known = ", ".join(phone["device_id"] for phone in phones) or "none"
        raise ValueError(f"--revoke {device_id}: no such phone is paired; there are: {known}")
    print(f"Revoked     {next(line_of(phone) for phone in phones if phone['device_id'] == device_id)}")
    return 0


def line_of(phone: dict) -> str:
    """One phone on one line: id, name, when it was paired, when it was here last."""
    paired, seen = (_minute(phone[key]) for key in ("paired_utc", "seen_utc"))
    return f"{phone['device_id']:<10} {phone['name'] or 'no name':<24} paired {paired}, last seen {seen}"


def _minute(utc: str | None) -> str:
    return f"{utc[:16].replace('T', ' ')} UTC" if utc else "at a time not known"
