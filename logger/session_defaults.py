"""What a new session takes from the cart when its setup does not say."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_bridge.cart import Cart


def close_lag_s(cart: Cart) -> float:
    """From the stop alert to a closed valve (s): the charging valve's own where there is one, else the technician's."""
    return cart.valve.close_lag_s if cart.valve else cart.close_lag_s


def filled_in(setup: Mapping, cart: Cart) -> dict:
    """The setup with what the cart says where it says nothing; a session_id of "" counts as none."""
    given = {key: value for key, value in setup.items() if value is not None}
    if not given.get("session_id"):
        given.pop("session_id", None)
    own = {"altitude_m": cart.altitude_m, "close_lag_s": close_lag_s(cart)}
    if cart.jurisdiction:
        own["jurisdiction"] = cart.jurisdiction
    return {**own, **given, "cart_id": cart.id}


def channels_of(cart: Cart) -> dict[str, dict]:
    """Channel name → unit, rate_hz and calibration points, as the record keeps them."""
    return {
        name: {"unit": config.unit, "rate_hz": config.rate_hz, "points": [list(point) for point in config.points]}
        for name, config in cart.channels.items()
    }
