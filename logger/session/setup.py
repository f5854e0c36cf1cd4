"""What a session is begun with: the vehicle, its placard and what hangs between container and port."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field

DEFAULT_CLOSE_LAG_S = 1.5
FORMAT = "tarebook-recording"
VERSION = 1


class SetupError(ValueError):
    """A session's description that cannot be used: one line that names the key and the mend."""


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """Unit and nominal rate (readings a second) of one channel."""

    unit: str
    rate_hz: float


@dataclass(frozen=True, slots=True)
class SessionSetup:
    """Masses in g, volumes in ml, times in s; None where the session does not say.

    scale_slope_u_rel: standard uncertainty of the scale's slope as a share of it, by the calibration it was begun with.
    """

    session_id: str
    cart_id: str = ""
    started_utc: str | None = None
    refrigerant: str = ""
    placard_low_g: float | None = None
    placard_high_g: float | None = None
    target_g: float | None = None
    container_nominal_g: float | None = None
    hose_volume_ml: float | None = None
    system_volume_ml: float | None = None
    close_lag_s: float | None = None
    altitude_m: float | None = None
    scale_slope_u_rel: float | None = None
    vehicle: Mapping[str, str] = field(default_factory=dict)
    raw: Mapping[str, object] = field(default_factory=dict)

    @property
    def lag_s(self) -> float:
        """From the stop alert to a closed valve."""
        return DEFAULT_CLOSE_LAG_S if self.close_lag_s is None else self.close_lag_s

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> SessionSetup:
        """From the keys of a recording's session.json; keys it does not know stay in `raw`. Raises SetupError."""
        if not isinstance(data, Mapping):
            raise SetupError("the session is not a JSON object: write one with at least session_id and refrigerant")
        low_g, high_g = _placard(data.get("placard"))
        target_g = _number(data, "target_g", above=0)
        if target_g is None and low_g is not None and high_g is not None:
            target_g = (low_g + high_g) / 2
        return cls(
            session_id=_text(data, "session_id", required=True),
            cart_id=_text(data, "cart_id"),
            started_utc=_text(data, "started_utc") or None,
            refrigerant=_text(data, "refrigerant"),
            placard_low_g=low_g,
            placard_high_g=high_g,
            target_g=target_g,
            container_nominal_g=_number(data, "container_nominal_g", above=0),
            hose_volume_ml=_number(data, "hose_volume_ml", least=0),
            system_volume_ml=_number(data, "system_volume_ml", above=0),
            close_lag_s=_number(data, "close_lag_s", least=0),
            altitude_m=_number(data, "altitude_m", least=-500, most=9000),
            scale_slope_u_rel=_number(data, "scale_slope_u_rel", least=0, most=1),
            vehicle=_vehicle(data.get("vehicle")),
            raw=dict(data),
        )

    def to_json(self) -> dict:
        """The keys it came from, unknown ones included."""
        return dict(self.raw)


def channel_infos(channels: Mapping[str, Mapping[str, object]]) -> dict[str, ChannelInfo]:
    """The `channels` object of a session.json as ChannelInfo."""
    return {name: ChannelInfo(str(c["unit"]), float(c["rate_hz"])) for name, c in channels.items()}


def _text(data: Mapping[str, object], key: str, required: bool = False) -> str:
    value = data.get(key)
    if value is None and not required:
        return ""
    if not isinstance(value, str) or (required and not value):
        raise SetupError(f"{key}: {value!r} is not a text: write it in quotes")
    return value


def _number(
    data: Mapping[str, object],
    key: str,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
) -> float | None:
    value = data.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= sys.float_info.max:
        raise SetupError(f"{key}: {value!r} is not a number: write one, or leave the key out")
    if above is not None and value <= above:
        raise SetupError(f"{key}: {value:g} must be above {above:g}")
    if least is not None and value < least:
        raise SetupError(f"{key}: {value:g} must be {least:g} or more")
    if most is not None and value > most:
        raise SetupError(f"{key}: {value:g} must be {most:g} or less")
    return float(value)


def _placard(placard: object) -> tuple[float | None, float | None]:
    """Lowest and highest mass in g that the label allows."""
    if placard is None:
        return None, None
    if not isinstance(placard, Mapping):
        raise SetupError('placard: write {"low_g": x, "high_g": y} or {"nominal_g": x, "tolerance_g": y}')
    if "nominal_g" in placard:
        nominal_g = _number(placard, "nominal_g", above=0)
        tolerance_g = _number(placard, "tolerance_g", least=0) or 0.0
        if nominal_g is None or tolerance_g >= nominal_g:
            raise SetupError(f"placard: tolerance_g {tolerance_g:g} must be below nominal_g {nominal_g}")
        return nominal_g - tolerance_g, nominal_g + tolerance_g
    low_g, high_g = _number(placard, "low_g", above=0), _number(placard, "high_g", above=0)
    if low_g is None or high_g is None:
        raise SetupError('placard: write {"low_g": x, "high_g": y} or {"nominal_g": x, "tolerance_g": y}')
    if low_g > high_g:
        raise SetupError(f"placard: low_g {low_g:g} is above high_g {high_g:g}: exchange them")
    return low_g, high_g


def _vehicle(vehicle: object) -> dict[str, str]:
    if vehicle is None:
        return {}
    if not isinstance(vehicle, Mapping):
        raise SetupError('vehicle: write an object of texts, such as {"registration": "AB 12"}')
    return {str(key): str(value) for key, value in vehicle.items()}
