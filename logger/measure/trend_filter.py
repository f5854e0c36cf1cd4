"""A Kalman filter of the mass on the platform, its flow, and what rests on it that is not the container.

State: m the container's gross mass (g), f the flow out of it (g/s), d what a disturbance weighs (g). Reading y = m + d.
Model: m falls by f dt; f and d wander. Formulae: the discrete Kalman filter (Kalman 1960; Welch & Bishop TR 95-041).
Plain floats: at ten steps a second a 3x3 in numpy would cost more in calls than in arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(slots=True)
class Trend:
    """The state, its covariance (upper triangle) and the time it stands for."""

    t_s: float
    m: float
    f: float = 0.0
    d: float = 0.0
    mm: float = 1.0
    mf: float = 0.0
    md: float = 0.0
    ff: float = 0.0
    fd: float = 0.0
    dd: float = 0.0

    def copy(self) -> Trend:
        return replace(self)

    def predict(self, t_s: float, q_flow: float, q_disturbance: float = 0.0) -> None:
        """Go on to `t_s`. q_flow in (g/s)^2/s, q_disturbance in g^2/s: variance gained by the second."""
        dt = t_s - self.t_s
        self.t_s = t_s
        self.m -= self.f * dt
        self.mm += dt * (dt * self.ff - 2.0 * self.mf) + q_flow * dt * dt * dt / 3.0
        self.mf -= dt * self.ff + q_flow * dt * dt / 2.0
        self.md -= dt * self.fd
        self.ff += q_flow * dt
        self.dd += q_disturbance * dt

    def innovation(self, y_g: float, r_g2: float) -> tuple[float, float]:
        """(y - expected, its variance) for a reading of variance `r_g2`."""
        return y_g - self.m - self.d, self.mm + 2.0 * self.md + self.dd + r_g2

    def update(self, y_g: float, r_g2: float) -> tuple[float, float]:
        """Take in one reading; returns the innovation and its variance."""
        e, s = self.innovation(y_g, r_g2)
        hm, hf, hd = self.mm + self.md, self.mf + self.fd, self.md + self.dd
        km, kf, kd = hm / s, hf / s, hd / s
        self.m += km * e
        self.f += kf * e
        self.d += kd * e
        self.mm -= km * hm
        self.mf -= km * hf
        self.md -= km * hd
        self.ff -= kf * hf
        self.fd -= kf * hd
        self.dd -= kd * hd
        return e, s

    def put_disturbance(self, weight_g: float, variance_g2: float, related: bool) -> None:
        """Another disturbance than before. `related`: its weight was read as what a reading exceeds this mass by, so
        that whatever the mass is wrong by, it is wrong by the opposite; else it is known by itself (0: nothing)."""
        self.d = weight_g
        self.dd = variance_g2 + (self.mm if related else 0.0)
        self.md = -self.mm if related else 0.0
        self.fd = -self.mf if related else 0.0
