"""What a hose holds: the term that stands between what the container lost and what the vehicle got."""

from __future__ import annotations

from dataclasses import dataclass

from logger.measure.saturation import saturation


@dataclass(frozen=True, slots=True)
class HoseContent:
    """Mass in a hose in g with its standard uncertainty, or None with the reason."""

    mass_g: float | None
    uncertainty_g: float | None
    phase: str
    why: str


def hose_volume_ml(length_m: float, inner_diameter_mm: float) -> float:
    """Internal volume of a round hose."""
    return 3.141592653589793 / 4.0 * inner_diameter_mm**2 * length_m


def hose_content_g(
    refrigerant: str,
    volume_ml: float | None,
    pressure_pa_abs: float | None,
    temp_c: float | None,
    phase: str | None = None,
) -> HoseContent:
    """What a hose of `volume_ml` holds; raises UnknownRefrigerant.

    phase: "evacuated", "vapour", "liquid", or None to take it from the pressure: vapour, and nothing under 2 kPa.
    Vapour above saturation is taken as saturated, with the reason; liquid density is that of the saturated liquid.
    """
    if volume_ml is None:
        return HoseContent(None, None, phase or "unknown", "hose volume not given")
    if phase == "evacuated" or (phase is None and pressure_pa_abs is not None and pressure_pa_abs < 2000.0):
        return HoseContent(0.0, 0.02 * volume_ml * 1e-3, "evacuated", "under vacuum it holds next to nothing")
    if temp_c is None:
        return HoseContent(None, None, phase or "vapour", "no temperature: the density in the hose cannot be told")
    if phase == "liquid":
        return _liquid(refrigerant, volume_ml, temp_c)
    return _vapour(refrigerant, volume_ml, pressure_pa_abs, temp_c)


def _liquid(refrigerant: str, volume_ml: float, temp_c: float) -> HoseContent:
    curve = saturation(refrigerant)
    density = curve.liquid_density(temp_c)
    if density is None:
        return HoseContent(None, None, "liquid", curve.why_not(temp_c=temp_c))
    mass_g = density * volume_ml * 1e-3
    return HoseContent(mass_g, 0.05 * mass_g, "liquid", f"full of liquid at {temp_c:.0f} °C")


def _vapour(refrigerant: str, volume_ml: float, pressure_pa: float | None, temp_c: float) -> HoseContent:
    curve = saturation(refrigerant)
    saturated = curve.vapour_density(temp_c)
    if saturated is None:
        return HoseContent(None, None, "vapour", curve.why_not(temp_c=temp_c))
    density = curve.vapour_density(temp_c, pressure_pa)
    why = "vapour at its pressure and temperature"
    if density is None or pressure_pa is None:
        density, why = (
            saturated,
            "taken as saturated vapour: "
            + ("no pressure" if pressure_pa is None else "the pressure lies above saturation, liquid may be present"),
        )
    mass_g = density * volume_ml * 1e-3
    share = 0.1 if why.startswith("vapour") else 0.3
    return HoseContent(mass_g, share * mass_g, "vapour", why)
