"""The person at the cart: works through a list of steps, reacts to alerts after a lag, makes marks or forgets them."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from firmware_bridge.virtual.container import Container
from firmware_bridge.virtual.plant import VALVE_TRAVEL_S, Plant
from firmware_bridge.virtual.setting import ContainerSpec, Scenario, Step

STOP_CODES = ("stop-charging", "over-target", "over-placard")
_THROTTLED = 0.4
_EMPTY_FLOW_G_PER_S = 0.12
_EMPTY_FOR_S = 4.0
_LONGEST_FILL_S = 1500.0

PlacedMark = tuple[float, str, dict]
"""Time in s, mark, detail."""


@dataclass
class Stay:
    """One container's time on the platform; masses in g without the hose's pull."""

    container: Container
    on_t_s: float
    gross_on_g: float
    off_t_s: float | None = None
    gross_off_g: float | None = None
    recovery: bool = False


class Technician:
    """Acts on the plant once a step (`act`). Kinds of step:

    wait (seconds) · identify (seconds, job) · recover (containers[0], rate_g_per_s) · evacuate (seconds) ·
    hold (seconds) · oil (seconds, job) · charge (containers, purge, compressor_after_s, settle_s) ·
    perform (seconds, job) · close. job: what he notes of the job, keys as the record knows them.
    """

    def __init__(self, scenario: Scenario, plant: Plant):
        self.scenario, self.plant = scenario, plant
        self.habits = scenario.technician
        self.rng = random.Random(scenario.seed * 7919 + 17)
        self.on_mark: Callable[[float, str, dict], None] | None = None
        self.done = False
        self.marks: list[PlacedMark] = []
        self.stays: list[Stay] = []
        self.valve_open_t_s: list[list[float]] = []
        self.hold_t_s: list[list[float]] = []
        self.purge_t_s: list[list[float]] = []
        self.charge_began_t_s: float | None = None
        self._pending: list[PlacedMark] = []
        self._stop_at_s: float | None = None
        self._throttle_at_s: float | None = None
        self._charging = False
        self._deeds = self._work()

    # --- what reaches him, what he does each step

    def hear(self, code: str) -> None:
        """An alert is heard now; only while he charges does he act on it."""
        if not self._charging or not self.habits.heeds_stop:
            return
        now = self.plant.t_s
        if code in STOP_CODES and self._stop_at_s is None:
            lag_s = max(0.2, self.rng.gauss(self.habits.close_lag_s, self.habits.lag_spread_s))
            self._stop_at_s = now + lag_s - 0.5 * VALVE_TRAVEL_S
        if code == "approaching-target" and self.habits.throttles and self._throttle_at_s is None:
            self._throttle_at_s = now + self.rng.uniform(0.8, 2.0)

    def act(self) -> None:
        """Whatever is to be done at the plant's present time."""
        self._make_due_marks()
        if not self.done:
            self.done = next(self._deeds, "done") == "done"
        if self.done:
            self._make_due_marks(everything=True)

    # --- marks

    def _mark(self, mark: str, **detail: object) -> None:
        if self.habits.marks == "missing":
            return
        late_s = self.rng.uniform(8.0, 35.0) if self.habits.marks == "late" else self.rng.uniform(0.2, 1.2)
        due = max(self.plant.t_s + late_s, self._pending[-1][0] + 0.05 if self._pending else 0.0)
        self._pending.append((due, mark, detail))

    def _make_due_marks(self, everything: bool = False) -> None:
        while self._pending and (everything or self._pending[0][0] <= self.plant.t_s):
            _, mark, detail = self._pending.pop(0)
            made = (round(self.plant.t_s, 3), mark, detail)
            self.marks.append(made)
            if self.on_mark:
                self.on_mark(*made)

    # --- the work: generators that yield once a step while time passes

    def _work(self) -> Iterator[None]:
        for step in self.scenario.steps:
            yield from getattr(self, f"_do_{step.kind}")(step)

    def _pass(self, seconds: float) -> Iterator[None]:
        until = self.plant.t_s + seconds
        while self.plant.t_s < until:
            yield

    def _do_wait(self, step: Step) -> Iterator[None]:
        yield from self._pass(step.seconds)

    def _do_close(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="closed")
        yield from self._pass(step.seconds)

    def _do_identify(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="identification")
        yield from self._pass(step.seconds)
        self._note(step)

    def _do_oil(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="oil_and_dye")
        yield from self._pass(step.seconds)
        self._note(step)

    def _note(self, step: Step) -> None:
        if step.job:
            self._mark("note", job=step.job)

    def _do_perform(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="performance")
        self._compressor(True)
        yield from self._pass(step.seconds)
        self._compressor(False)
        self._note(step)

    def _do_evacuate(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="evacuation")
        yield from self._pass(2.0)
        self.plant.vacuum.pump_on = True
        yield from self._pass(step.seconds)
        self.plant.vacuum.pump_on = False

    def _do_hold(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="vacuum_hold")
        began = self.plant.t_s
        yield from self._pass(step.seconds)
        self.hold_t_s.append([began, self.plant.t_s])

    def _do_recover(self, step: Step) -> Iterator[None]:
        self._mark("stage", stage="recovery")
        yield from self._put_on(step.containers[0], recovery=True)
        yield from self._pass(step.settle_s)
        self.plant.recovering_g_per_s = step.rate_g_per_s
        until = self.plant.t_s + _LONGEST_FILL_S
        while not self.plant.recovery_done() and self.plant.t_s < until:
            yield
        self.plant.recovering_g_per_s = 0.0
        yield from self._pass(step.settle_s)
        yield from self._take_off()

    # --- charging

    def _do_charge(self, step: Step) -> Iterator[None]:
        """All containers in turn until he has to stop, then a pause for the hose to empty and the scale to settle."""
        self._stop_at_s = self._throttle_at_s = None
        containers = iter(step.containers)
        yield from self._put_on(next(containers))
        yield from self._pass(step.settle_s)
        self._mark("stage", stage="charging")
        self.charge_began_t_s = self.plant.t_s
        self._charging = True
        if step.purge:
            yield from self._purge()
        self.plant.hose_connected = True
        compressor_at_s = self.plant.t_s + step.compressor_after_s
        yield from self._fill(containers, compressor_at_s)
        self._charging = False
        yield from self._pass(8.0)
        self.plant.hose_connected = False
        yield from self._pass(step.settle_s)
        yield from self._take_off()

    def _fill(self, containers: Iterator[ContainerSpec], compressor_at_s: float) -> Iterator[None]:
        until = self.plant.t_s + _LONGEST_FILL_S
        while True:
            yield from self._pour(compressor_at_s, until)
            if self._must_stop() or self.plant.t_s >= until:
                return
            following = next(containers, None)
            if following is None:
                return
            yield from self._swap(following)
            if self._must_stop():
                return

    def _pour(self, compressor_at_s: float, until_s: float) -> Iterator[None]:
        """Valve open until he must stop or the container gives no more."""
        self.plant.valve_target = 1.0
        self.valve_open_t_s.append([self.plant.t_s, self.plant.t_s])
        flowed_at_s = self.plant.t_s
        while not self._must_stop() and self.plant.t_s < until_s:
            yield
            if self.plant.t_s >= compressor_at_s and not self.plant.circuit.compressor_on:
                self._compressor(True)
            if self._throttle_at_s is not None and self.plant.t_s >= self._throttle_at_s:
                self.plant.valve_target = _THROTTLED
            if self.plant.flow_g_per_s > _EMPTY_FLOW_G_PER_S:
                flowed_at_s = self.plant.t_s
            if self.plant.t_s - flowed_at_s > _EMPTY_FOR_S and not self.plant.container.has_liquid():
                break
        yield from self._shut()

    def _shut(self) -> Iterator[None]:
        self.plant.valve_target = 0.0
        yield from self._pass(VALVE_TRAVEL_S)
        self.valve_open_t_s[-1][1] = self.plant.t_s

    def _must_stop(self) -> bool:
        if self._stop_at_s is not None and self.plant.t_s >= self._stop_at_s:
            return True
        return self.plant.delivered_g() >= self.scenario.target_g + self.habits.overrun_g

    def _swap(self, following: ContainerSpec) -> Iterator[None]:
        yield from self._pass(self.rng.uniform(2.0, 8.0))
        yield from self._take_off()
        yield from self._pass(self.rng.uniform(5.0, 20.0))
        yield from self._put_on(following)
        yield from self._pass(self.rng.uniform(12.0, 25.0))

    def _purge(self) -> Iterator[None]:
        self._mark("purge")
        yield from self._pass(self.rng.uniform(2.0, 5.0))
        began = self.plant.t_s
        self.plant.purging = True
        self.plant.valve_target = 0.25 if self.plant.container.draws_liquid() else 1.0
        self.valve_open_t_s.append([began, began])
        yield from self._pass(self.rng.uniform(1.0, 2.0))
        yield from self._shut()
        yield from self._pass(1.0)
        self.plant.purging = False
        self.purge_t_s.append([began, self.plant.t_s])
        yield from self._pass(self.rng.uniform(6.0, 12.0))

    # --- handling

    def _put_on(self, spec: ContainerSpec, recovery: bool = False) -> Iterator[None]:
        container = self.plant.place(spec)
        self.stays.append(Stay(container, self.plant.t_s, container.gross_g, recovery=recovery))
        said = {"label": spec.label, "nominal_g": spec.nominal_g}
        self._mark("container_on", **{key: value for key, value in said.items() if value})
        yield

    def _take_off(self) -> Iterator[None]:
        stay = self.stays[-1]
        stay.off_t_s, stay.gross_off_g = self.plant.t_s, stay.container.gross_g
        self.plant.take_off()
        yield

    def _compressor(self, on: bool) -> None:
        if self.plant.circuit.compressor_on != on:
            self.plant.circuit.compressor_on = on
            self._mark("compressor", on=on)
