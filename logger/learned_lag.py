"""How long this cart's technician takes from the stop alert to a closed valve, kept in the store between sessions."""

from __future__ import annotations

from dataclasses import asdict

from logger.record.gists import stop_lags
from logger.record.reader import StoreReader
from logger.record.store import Store
from logger.session.stop_lag import StopLag, learned_lag_s


def learn(store: Store, cart_id: str) -> StopLag | None:
    """Learn from the sessions closed so far and keep it; None, and nothing kept, while they are too few."""
    lag = learned_lag_s(stop_lags(store.reader(), cart_id))
    if lag is not None:
        store.set_value(_key(cart_id), asdict(lag))
    return lag


def learned(reader: StoreReader, cart_id: str) -> StopLag | None:
    """What was learned last."""
    kept = reader.value(_key(cart_id))
    return None if kept is None else StopLag(**kept)


def _key(cart_id: str) -> str:
    return f"stop_lag/{cart_id}"
