"""The history of a cart's scale: empty platforms and check weights, kept as a setting of the store."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from logger.record.reader import StoreReader
from logger.record.store import Store

MOST_KEPT = 500
_KEY = "scale_checks/"


def scale_checks(reader: StoreReader, cart_id: str, what: str | None = None) -> list[dict]:
    """Entries {"at_utc", "what": "empty" or "check-weight", …}, oldest first; `what` None for all."""
    kept = reader.value(_key(cart_id), [])
    return [entry for entry in kept if what is None or entry["what"] == what]


def check_weights(reader: StoreReader) -> list[dict]:
    """Check weights of every cart in the store with their `cart_id`, oldest first."""
    carts = [
        row["key"].removeprefix(_KEY) for row in reader.rows("SELECT key FROM setting WHERE key GLOB ?", f"{_KEY}*")
    ]
    found = [{**entry, "cart_id": cart} for cart in carts for entry in scale_checks(reader, cart, "check-weight")]
    return sorted(found, key=lambda entry: entry["at_utc"])


def add_scale_checks(store: Store, cart_id: str, entries: Iterable[Mapping]) -> None:
    """Keep entries that are not kept yet, the newest `MOST_KEPT` of all."""
    kept = scale_checks(store.reader(), cart_id)
    new = [dict(entry) for entry in entries if entry not in kept]
    if new:
        store.set_value(_key(cart_id), sorted(kept + new, key=lambda entry: entry["at_utc"])[-MOST_KEPT:])


def _key(cart_id: str) -> str:
    return _KEY + cart_id
