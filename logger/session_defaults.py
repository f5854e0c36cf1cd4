"""What a new session takes from the cart when its setup does not say."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_bridge.cart import Cart
from logger.measure.calibration_set import slope_u_rel
from logger.session.stop_lag import StopLag


def close_lag_s(cart: Cart, learned: StopLag | None = None) -> float:
    """From the stop alert to a closed valve (s): the charging valve's own where there is one, else the technician's, as
    earlier fills of this cart taught it, else the cart file's."""
    if cart.valve:
        return cart.valve.close_lag_s
    return learned.lag_s if learned else cart.close_lag_s


def filled_in(setup: Mapping, cart: Cart, learned: StopLag | None = None, scale_check: Mapping | None = None) -> dict:
    """The setup with what the cart says where it says nothing; a session_id of "" counts as none.

    close_lag_from, scale_slope_u_rel and scale_check (`logger.session.scale_due`) go into the record with it, so that a
    replay judges by the same.
    """
    given = {key: value for key, value in setup.items() if value is not None}
    if not given.get("session_id"):
        given.pop("session_id", None)
    own = {"altitude_m": cart.altitude_m}
    if "close_lag_s" not in given:
        own["close_lag_s"] = round(close_lag_s(cart, learned), 3)
        own["close_lag_from"] = "valve" if cart.valve else "earlier fills" if learned else "cart file"
    if (slope_u := slope_u_rel(cart.channels["scale"].calibration)) is not None:
        own["scale_slope_u_rel"] = slope_u
    if cart.jurisdiction:
        own["jurisdiction"] = cart.jurisdiction
    if cart.reminders:
        own["reminders"] = dict(cart.reminders)
    if cart.shop:
        own["shop"] = cart.shop
    checked = {"scale_check": dict(scale_check)} if scale_check else {}
    return {**own, **given, **checked, "cart_id": cart.id}


def channels_of(cart: Cart) -> dict[str, dict]:
    """Channel name → unit, rate_hz and calibration points, as the record keeps them."""
    return {
        name: {"unit": config.unit, "rate_hz": config.rate_hz, "points": [list(point) for point in config.points]}
        for name, config in cart.channels.items()
    }
