"""What the vehicle got: drawn on plateaus, less what was vented, less what the hose keeps.

Every container's stay on the platform is booked as segments. A segment ends when the container is lifted, and when the
system is found under deep vacuum while the container rests: whatever left the container before that is not in the
vehicle, whether it was recovered, vented through the hose or pumped off, and marks need not say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from logger.measure.atmosphere import absolute_pa, ambient_pressure
from logger.measure.budget import Component, expanded, rectangular, resolution
from logger.measure.hose import HoseContent, hose_content_g
from logger.measure.plateau import Plateau
from logger.measure.platform import Platform, Stay
from logger.measure.refrigerants import UnknownRefrigerant
from logger.measure.saturation import saturation
from logger.measure.ticks import Tick

RECOVERY_LEAST_G = 10.0
VENTED_MOST_G = 25.0
EVACUATED_PA = 2000.0
EVACUATED_LOW_SIDE_PA = 8000.0
PURGE_MARK_WITHIN_S = 30.0
DRIFT_G_PER_H = 3.0
CREEP_SHARE = 5e-5
CALIBRATION_SHARE = 1.2e-3
HOSE_PULL_G = 0.5


@dataclass(slots=True)
class Segment:
    """One booking of one stay. purpose: "charge", "recovery", "vented" or "removed" (pumped off again)."""

    stay: Stay
    purpose: str = "charge"
    on: Plateau | None = None
    off: Plateau | None = None
    first_episode: int = 0
    on_shift_g: float = 0.0
    off_shift_g: float | None = None

    def drawn_g(self, now_g: float) -> float:
        """Out of the container so far, positive; 0 before anything has flowed."""
        if self.on is None:
            return 0.0
        shifted_g = (self.stay.shift_g if self.off_shift_g is None else self.off_shift_g) - self.on_shift_g
        return self.on.gross_g + shifted_g - (self.off.gross_g if self.off else self.stay.gross_off_g(now_g))


@dataclass(frozen=True, slots=True)
class AccountSetup:
    """refrigerant: ASHRAE number; volume in ml, None where not given; relative uncertainty of the scale's slope."""

    refrigerant: str = ""
    hose_volume_ml: float | None = None
    altitude_m: float | None = None
    slope_u_rel: float = CALIBRATION_SHARE


class ChargeAccount:
    """Books what `platform` shows. Fed every frame through `follow` and every second through `tick`."""

    def __init__(self, setup: AccountSetup, platform: Platform):
        self._setup = setup
        self._platform = platform
        self.segments: list[Segment] = []
        self.vented_g = 0.0
        self.u_vented_g = 0.0
        self.hose = HoseContent(None, None, "unknown", "no flow yet")
        self._purge_marked_s: float | None = None
        self._recovery_marked = False

    def mark_purge(self, t_s: float) -> None:
        self._purge_marked_s = t_s

    def mark_stage(self, stage: str) -> None:
        self._recovery_marked = stage == "recovery"

    def follow(self) -> None:
        """After each frame: open a segment for a stay that has none, note its first plateau."""
        stay = self._platform.stay
        if stay is None:
            return
        if self.segments and self.segments[-1].stay.mistaken:
            self.segments.pop()
        if not self.segments or self.segments[-1].stay is not stay:
            self.segments.append(Segment(stay))
        elif self.segments[-1].off is not None:
            self.segments.append(Segment(stay, first_episode=len(stay.episodes)))
        segment = self.segments[-1]
        if segment.on is None and len(stay.episodes) > segment.first_episode:
            segment.on = stay.episodes[segment.first_episode].before
            segment.on_shift_g = stay.shift_g
            segment.purpose = "recovery" if self._recovery_marked else "charge"

    def tick(self, tick: Tick) -> None:
        """Each second: what the hose holds, and whether the system is under vacuum so that a booking ends."""
        evacuated = self._evacuated(tick)
        if not evacuated and self.segments and self.segments[-1].on is not None:
            self._weigh_hose(tick)
        if not self.segments or self.segments[-1].on is None:
            return
        segment = self.segments[-1]
        purge = self._purge_marked_s is not None and tick.t_s - self._purge_marked_s < PURGE_MARK_WITHIN_S
        rests = self._rests(segment)
        if rests and (evacuated or (evacuated is None and purge)):
            self._end(segment, tick)

    def _rests(self, segment: Segment) -> bool:
        """Whether the segment's container stands on a plateau, or has left the platform."""
        if segment.stay.off is not None:
            return True
        return self._platform.stay is segment.stay and self._platform.plateau_now() is not None

    def _end(self, segment: Segment, tick: Tick) -> None:
        """Nothing of what this segment drew is in the vehicle."""
        if segment.off is not None or segment.purpose in ("vented", "removed"):
            return
        segment.off = segment.stay.off or self._platform.plateau_now()
        segment.off_shift_g = segment.stay.shift_g
        drawn = segment.drawn_g(segment.off.gross_g)
        if drawn <= -RECOVERY_LEAST_G or segment.purpose == "recovery":
            segment.purpose = "recovery"
        elif drawn <= VENTED_MOST_G:
            self._vent(segment, drawn, tick)
        else:
            segment.purpose = "removed"
        self._purge_marked_s = None

    def _vent(self, segment: Segment, drawn_g: float, tick: Tick) -> None:
        """A purge: what did not stay in the hose went to air. Between the container's pressure and the air's it may
        keep anything, by which end was closed first."""
        segment.purpose = "vented"
        ambient_pa = ambient_pressure(tick.last.get("barometer"), self._setup.altitude_m).pa
        most = max(min(self._hose_at(tick, None).mass_g or 0.0, drawn_g), 0.0)
        least = self._hose_at(tick, ambient_pa).mass_g or 0.0
        kept_g, half_g = (most + min(least, most)) / 2.0, (most - min(least, most)) / 2.0
        self.vented_g += max(drawn_g - kept_g, 0.0)
        self.u_vented_g = sqrt(self.u_vented_g**2 + rectangular(half_g) ** 2)

    def _evacuated(self, tick: Tick) -> bool | None:
        """Whether the system is under deep vacuum; None where no sensor can tell."""
        vacuum, low = tick.last.get("vacuum"), tick.last.get("low_side")
        if vacuum is not None:
            return vacuum < EVACUATED_PA
        return None if low is None else self._absolute_pa(low, tick) < EVACUATED_LOW_SIDE_PA

    def _absolute_pa(self, gauge_kpa: float, tick: Tick) -> float:
        return absolute_pa(gauge_kpa, ambient_pressure(tick.last.get("barometer"), self._setup.altitude_m).pa)

    def _weigh_hose(self, tick: Tick) -> None:
        low = tick.last.get("low_side")
        self.hose = self._hose_at(tick, None if low is None else max(self._absolute_pa(low, tick), 0.0))

    def _hose_at(self, tick: Tick, pressure_pa: float | None) -> HoseContent:
        """Vapour in the hose: at `pressure_pa`, or where that is None at the container's own pressure."""
        temp_c = tick.last.get("ambient_temp", tick.last.get("container_temp"))
        try:
            if pressure_pa is None:
                pressure_pa = saturation(self._setup.refrigerant).pressure_pa(temp_c) if temp_c is not None else None
            return hose_content_g(self._setup.refrigerant, self._setup.hose_volume_ml, pressure_pa, temp_c)
        except UnknownRefrigerant as unknown:
            return HoseContent(None, None, "unknown", str(unknown))

    # What it comes to

    def gross_now_g(self) -> float:
        gross = self._platform.gross_g
        return 0.0 if gross is None else gross

    def trend_now_g(self) -> float:
        """The newest mass, without waiting for a plateau: what the stop goes by."""
        trend = self._platform.trend_g
        return 0.0 if trend is None else trend

    def charging(self) -> list[Segment]:
        """Segments whose draw went into the vehicle."""
        now = self.gross_now_g()
        return [s for s in self.segments if s.purpose == "charge" and not self._is_recovery(s, now)]

    def _is_recovery(self, segment: Segment, now_g: float) -> bool:
        return segment.drawn_g(now_g) <= -RECOVERY_LEAST_G

    def hose_kept_g(self) -> float:
        """What the hose keeps, of what was drawn; 0 where it cannot be told."""
        return self.hose.mass_g or 0.0

    def drawn_g(self, now_g: float | None = None) -> float:
        gross_g = self.gross_now_g()
        now = gross_g if now_g is None else now_g
        charged = vented = 0.0
        for segment in self.segments:  # every frame comes by here
            if segment.purpose == "charge" and not self._is_recovery(segment, gross_g):
                charged += segment.drawn_g(now)
            elif segment.purpose == "vented":
                vented += segment.drawn_g(now)
        return charged + vented

    def delivered_g(self, now_g: float | None = None) -> float:
        """In the vehicle if the valve were closed now, by `now_g` on the platform (default: the best there is)."""
        drawn = self.drawn_g(now_g)
        return drawn - self.vented_g - (self.hose_kept_g() if drawn else 0.0)

    def recovered_g(self) -> float | None:
        now = self.gross_now_g()
        gained = [-s.drawn_g(now) for s in self.segments if s.purpose == "recovery" or self._is_recovery(s, now)]
        return sum(gained) if gained else None

    def budget(self) -> list[Component]:
        """The uncertainty of `delivered_g`, line by line."""
        return budget_of(self.charging(), self.gross_now_g(), self._platform, self._setup) + self._hose_budget()

    def recovered_uncertainty_g(self) -> float:
        now = self.gross_now_g()
        segments = [s for s in self.segments if s.purpose == "recovery" or self._is_recovery(s, now)]
        return expanded(budget_of(segments, now, self._platform, self._setup))

    def _hose_budget(self) -> list[Component]:
        lines = []
        if self.vented_g:
            lines.append(Component("vented", self.u_vented_g, "how much of a purge stayed in the hose"))
        if self.hose.mass_g is None:
            lines.append(Component("hose", rectangular(2.0), f"what it keeps is not known: {self.hose.why}"))
        else:
            lines.append(Component("hose", self.hose.uncertainty_g or 0.0, self.hose.why))
        return lines


def budget_of(segments: list[Segment], now_g: float, platform: Platform, setup: AccountSetup) -> list[Component]:
    """Uncertainty of the sum of what `segments` drew: plateaus, slope, drift, creep, pull of the hose, resolution."""
    flowed = [segment for segment in segments if segment.on is not None]
    offs = [segment.off or segment.stay.off or platform.plateau_now() for segment in flowed]
    end_u = [_end_u(off, platform) for off in offs]
    drawn = sum(segment.drawn_g(now_g) for segment in flowed)
    hours = [_hours(segment, off, platform) for segment, off in zip(flowed, offs, strict=True)]
    creep = [CREEP_SHARE * segment.on.gross_g for segment in flowed]
    n = sqrt(2.0 * len(flowed))
    return [
        Component("plateaus before", sqrt(sum(s.on.u_g**2 for s in flowed)), "scatter at rest, type A"),
        Component("plateaus after", sqrt(sum(u * u for u in end_u)), "scatter at rest, type A; else the trend"),
        Component("calibration", abs(drawn) * setup.slope_u_rel, "slope of the scale"),
        Component("drift", rectangular(DRIFT_G_PER_H * sum(hours)), "of the scale between the two plateaus"),
        Component("creep", rectangular(sqrt(sum(c * c for c in creep))), "of the load cell after it was loaded"),
        Component("hose force", n * rectangular(HOSE_PULL_G), "pull of the hose, not quite the same before and after"),
        Component("resolution", n * resolution(0.1), "steps of the scale"),
    ]


def _end_u(off: Plateau | None, platform: Platform) -> float:
    if off is not None:
        return off.u_g
    return platform.tracker.mass_sigma if platform.tracker else 0.0


def _hours(segment: Segment, off: Plateau | None, platform: Platform) -> float:
    end_s = off.from_t_s if off is not None else (platform.tracker.trend.t_s if platform.tracker else segment.on.to_t_s)
    return max(end_s - segment.on.to_t_s, 0.0) / 3600.0
