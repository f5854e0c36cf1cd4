"""The cart file: which sensor hangs where, how it is calibrated, and what else this cart has. TOML, read strictly."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.blocks import CHANNEL_UNITS
from firmware_bridge.cart_channels import read_channels
from firmware_bridge.channel import ChannelConfig
from firmware_bridge.stage_names import REFILL_REMINDER, STAGES
from firmware_bridge.toml_table import CartError, Table

__all__ = ["BoardConfig", "Cart", "CartError", "ChannelConfig", "load_cart"]

REMINDER_MOST = 300
LIMITS = ("high_side_kpa", "hold_leak_pa_per_s", "hold_fall_pa_per_s", "storage_free_mb")
LIMITS += ("keep_signed_days", "scale_check_days")
SCALE_CLASSES = ("II", "III", "IIII")
DEFAULT_CLOSE_LAG_S = 1.5
CART_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")


@dataclass(frozen=True, slots=True)
class BoardConfig:
    """`id`: the identity the board must give, None for any."""

    port: str
    baud: int
    id: str | None


@dataclass(frozen=True, slots=True)
class ScaleConfig:
    """The scale's legal data: accuracy class (OIML R 76), verification interval and maximum in g."""

    accuracy_class: str
    e_g: float
    max_g: float


@dataclass(frozen=True, slots=True)
class ValveConfig:
    """A normally closed charging valve on the board; `close_lag_s` from the request to closed."""

    close_lag_s: float


@dataclass(frozen=True, slots=True)
class MqttConfig:
    """The broker. `password_file` and `ca_file` are paths, in the file relative to its folder; None when not used.

    recordings: whether closed sessions are handed out over the broker to be gathered. discovery: the first level of
    the topic under which Home Assistant looks for devices. sparkplug: the group in which the cart is a Sparkplug B edge
    node. None: not wanted.
    """

    host: str
    port: int
    username: str | None
    password_file: str | None
    tls: bool
    ca_file: str | None
    recordings: bool = True
    discovery: str | None = None
    sparkplug: str | None = None


@dataclass(frozen=True, slots=True)
class HttpConfig:
    """`token_to_read`: whether even looking needs the pairing token. `certificate`, `key`: paths, both or neither; with
    them the pages are served under TLS. `names`: of the cart on networks that give it one, besides its addresses."""

    token_to_read: bool = False
    certificate: str | None = None
    key: str | None = None
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cart:
    """A cart file's content, defaults filled in. `close_lag_s`: from the stop alert to a valve closed by hand.
    `reminders`: the shop's own words by stage, and under REFILL_REMINDER those said when a leak is to be refilled.
    `shop`: name and address, for the vehicle's label."""

    id: str
    altitude_m: float
    jurisdiction: str | None
    reminders: dict[str, str]
    shop: str | None
    board: BoardConfig | None
    channels: dict[str, ChannelConfig]
    limits: dict[str, float]
    scale: ScaleConfig | None
    valve: ValveConfig | None
    mqtt: MqttConfig | None
    http: HttpConfig
    close_lag_s: float


def load_cart(path: str | Path) -> Cart:
    """Raises CartError."""
    path = Path(path)
    try:
        data = tomllib.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise CartError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError as error:
        raise CartError(f"{path}: not UTF-8 text at byte {error.start}: save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise CartError(f"{path}: not TOML: {error}") from None
    return _cart(Table(str(path), "", data), path.parent)


def _cart(top: Table, folder: Path) -> Cart:
    cart = top.table("cart")
    if cart is None:
        raise top.error('[cart] is missing: add [cart] with id = "a name"')
    board = _board(top.table("board"))
    channels = read_channels(top.tables("channel", CHANNEL_UNITS), has_board=board is not None)
    technician = top.table("technician")
    result = Cart(
        id=_cart_id(cart),
        altitude_m=cart.number("altitude_m", 0.0, -500, 6000),
        jurisdiction=cart.text("jurisdiction", None),
        reminders=_reminders(top.table("reminders")),
        shop=cart.text("shop", None),
        board=board,
        channels=channels,
        limits=_limits(top.table("limits")),
        scale=_scale(top.table("scale")),
        valve=_valve(top.table("valve"), has_board=board is not None),
        mqtt=_mqtt(top.table("mqtt"), folder),
        http=_http(top.table("http"), folder),
        close_lag_s=technician.number("close_lag_s", DEFAULT_CLOSE_LAG_S, 0, 60) if technician else DEFAULT_CLOSE_LAG_S,
    )
    for table in (top, cart, technician):
        if table:
            table.done()
    if "scale" not in channels:
        raise top.error("[channel.scale] is missing: without a weight nothing can be charged")
    return result


def _cart_id(cart: Table) -> str:
    name = cart.text("id")
    if not CART_ID.fullmatch(name):
        raise cart.error(
            f"id = {name!r}: use letters, digits, - _ . only, 64 at most; it becomes part of message topics"
        )
    return name


def _board(table: Table | None) -> BoardConfig | None:
    if table is None:
        return None
    board = BoardConfig(table.text("port"), table.integer("baud", 115200, 1200, 4_000_000), table.text("id", None))
    table.done()
    return board


def _limits(table: Table | None) -> dict[str, float]:
    if table is None:
        return {}
    limits = {name: table.number(name, None, 0) for name in LIMITS}
    if limits["keep_signed_days"] is not None and limits["keep_signed_days"] < 1:
        raise table.error("keep_signed_days: keep at least one day, or leave it out to keep all")
    if limits["scale_check_days"] is not None and limits["scale_check_days"] < 1:
        raise table.error("scale_check_days: give at least one day, or leave it out for 30")
    table.done("there is no limit")
    return {name: value for name, value in limits.items() if value is not None}


def _reminders(table: Table | None) -> dict[str, str]:
    if table is None:
        return {}
    texts = {name: table.text(name, None) for name in (*STAGES, REFILL_REMINDER)}
    table.done("there is no stage")
    for name, text in texts.items():
        if text is not None and len(text) > REMINDER_MOST:
            raise table.error(f"{name}: {len(text)} characters: write {REMINDER_MOST} at most, to be read at a glance")
    return {name: " ".join(text.split()) for name, text in texts.items() if text is not None}


def _scale(table: Table | None) -> ScaleConfig | None:
    if table is None:
        return None
    scale = ScaleConfig(
        table.choice("class", SCALE_CLASSES), table.number("e_g", low=0.001), table.number("max_g", low=1)
    )
    table.done()
    return scale


def _valve(table: Table | None, has_board: bool) -> ValveConfig | None:
    if table is None:
        return None
    if not has_board:
        raise table.error("needs a [board]: the valve hangs on it")
    valve = ValveConfig(table.number("close_lag_s", 0.2, 0, 10))
    table.done()
    return valve


def _mqtt(table: Table | None, folder: Path) -> MqttConfig | None:
    if table is None:
        return None
    mqtt = MqttConfig(
        host=table.text("host", "localhost"),
        port=table.integer("port", 1883, 1, 65535),
        username=table.text("username", None),
        password_file=_file(table, "password_file", folder),
        tls=table.flag("tls", False),
        ca_file=_file(table, "ca_file", folder),
        recordings=table.flag("recordings", True),
        discovery=_topic_level(table, "discovery"),
        sparkplug=_topic_level(table, "sparkplug"),
    )
    table.done()
    return mqtt


def _topic_level(table: Table, key: str) -> str | None:
    """A word that can stand between two slashes of a topic."""
    name = table.text(key, None)
    if name is not None and not CART_ID.fullmatch(name):
        raise table.error(f"{key} = {name!r}: use letters, digits, - _ . only; it becomes part of message topics")
    return name


def _file(table: Table, key: str, folder: Path) -> str | None:
    """A path, relative to the cart file's folder."""
    name = table.text(key, None)
    return None if name is None else str(folder / name)


def _http(table: Table | None, folder: Path) -> HttpConfig:
    if table is None:
        return HttpConfig()
    http = HttpConfig(
        table.flag("token_to_read", False),
        _file(table, "certificate", folder),
        _file(table, "key", folder),
        table.texts("names", ()),
    )
    for one, other in (("certificate", "key"), ("key", "certificate")):
        if one in table and other not in table:
            raise table.error(f"{other} is missing: a {one} serves only with its {other}, in PEM form")
    table.done()
    return http
