"""From the true load to what the load cell makes of it: creep, drift, noise, a shaking engine, and hands."""

from __future__ import annotations

import numpy as np

from firmware_bridge.virtual.setting import Disturbance, Scenario

_CREEP_TAU_S = 500.0
_HAND_RAMP_S = 0.25
_NOISE_AT_80_SPS = 1.8
"""HX711 data sheet: 50 nV rms at 10 and 90 nV at 80 samples a second."""


class Platform:
    """The scale's mechanics and electronics. Times in s, masses in g, arrays of one length."""

    def __init__(self, scenario: Scenario):
        spec = scenario.sensors
        rng = np.random.default_rng([scenario.seed, 11])
        self.spec, self.target_g = spec, scenario.target_g
        self.noise_g = spec.noise_g * (_NOISE_AT_80_SPS if spec.scale_rate_hz > 40.0 else 1.0)
        self.befallen: list[tuple[Disturbance, float]] = [
            (d, d.start_s) for d in scenario.disturbances if not d.at_target
        ]
        self._awaiting = [d for d in scenario.disturbances if d.at_target]
        self._creep_g = 0.0
        self._phases = rng.uniform(0.0, 2.0 * np.pi, 4)
        self._shake_hz = rng.uniform(11.0, 17.0)
        self._wander_s = rng.uniform(500.0, 1500.0)

    def load_g(self, dt_s: float, t_s: float, standing_g: float, delivered_g: float, flow_g_per_s: float) -> float:
        """What bears on the cell after another `dt_s`, creep included. Starts disturbances that wait for the target."""
        if self._awaiting and delivered_g + 0.4 * flow_g_per_s >= self.target_g:
            self.befallen += [(d, t_s) for d in self._awaiting]
            self._awaiting = []
        for disturbance, start_s in self.befallen:
            if disturbance.kind == "lift" and 0.0 <= t_s - start_s < disturbance.duration_s:
                standing_g = 0.0
        creep_to_g = self.spec.creep_share * standing_g
        self._creep_g += (creep_to_g - self._creep_g) * dt_s / _CREEP_TAU_S
        return standing_g + self._creep_g

    def reading_g(self, t_s: np.ndarray, load_g: np.ndarray, engine: np.ndarray, white: np.ndarray) -> np.ndarray:
        """Readings of `load_g`; `white` is standard normal noise. NaN where the reading is dropped."""
        spec = self.spec
        reading = load_g + spec.zero_g + spec.drift_g_per_h * t_s / 3600.0 + self.noise_g * white
        reading += 0.15 * np.sin(2.0 * np.pi * t_s / self._wander_s + self._phases[0])
        if spec.vibration_g:
            reading += engine * self._shaking(t_s)
        for disturbance, start_s in self.befallen:
            reading += _offset_g(disturbance, t_s - start_s)
        return np.round(reading / spec.resolution_g) * spec.resolution_g

    def _shaking(self, t_s: np.ndarray) -> np.ndarray:
        """A rough idle: a fast shake that swells and ebbs while the idle speed hunts, and a slower rocking."""
        turn = 2.0 * np.pi * t_s
        swell = 0.65 + 0.35 * np.sin(0.31 * turn + self._phases[1])
        hunting = 2.6 * np.sin(0.17 * turn + self._phases[0]) + 1.4 * np.sin(0.43 * turn + self._phases[3])
        fast = np.sin(self._shake_hz * turn + self._phases[2] + hunting)
        slow = np.sin(1.7 * turn + self._phases[3])
        return self.spec.vibration_g * swell * (0.8 * fast + 0.2 * slow)


def _offset_g(disturbance: Disturbance, since_s: np.ndarray) -> np.ndarray:
    """What a disturbance adds to readings taken `since_s` after it began."""
    during = (since_s >= 0.0) & (since_s < disturbance.duration_s)
    if not during.any() or disturbance.kind == "lift":
        return np.zeros_like(since_s)
    if disturbance.kind == "dropped":
        return np.where(during, np.nan, 0.0)
    if disturbance.kind == "wild":
        return np.where(during, disturbance.size_g, 0.0)
    share = since_s / disturbance.duration_s
    if disturbance.kind == "bump":
        return np.where(during, disturbance.size_g * np.sin(np.pi * share) * np.cos(3.0 * np.pi * share), 0.0)
    ramp = np.minimum(since_s, disturbance.duration_s - since_s) / _HAND_RAMP_S
    tremor = 1.0 + 0.04 * np.sin(2.0 * np.pi * 1.3 * since_s)
    return np.where(during, disturbance.size_g * tremor * np.clip(ramp, 0.0, 1.0), 0.0)
