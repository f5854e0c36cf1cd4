"""The demonstration's containers: labelled, and in the ledger of its store before the session begins.

A can is used up by one session, so each demonstration takes those that are still full and adds what it lacks. What is
recovered goes into one cylinder, demonstration after demonstration, until it is sent on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from firmware_bridge.virtual.setting import ContainerSpec, Scenario, Step
from logger.paths import store_path
from logger.record.containers import Containers, ledger
from logger.record.store import Store

SENT_ABOVE_G = 9000.0
FACILITY = ("Example Reclaim (invented)", "1 Example Road, Nowhere")
NOTE = "invented, of the demonstration"


def with_labels(scenario: Scenario, data_dir: Path) -> Scenario:
    """The scenario with every container labelled as one of the ledger, and the recovery cylinder as full as it says."""
    store = Store.open(store_path(data_dir))
    try:
        shelf = _Shelf(store, scenario.refrigerant)
        return replace(scenario, steps=tuple(shelf.fitted(step) for step in scenario.steps))
    finally:
        store.close()


class _Shelf:
    """Labels for one session's containers; none is given twice."""

    def __init__(self, store: Store, refrigerant: str):
        self._store, self._refrigerant = store, refrigerant
        self._given: set[str] = set()

    def fitted(self, step: Step) -> Step:
        fit = self._recovery if step.kind == "recover" else self._full
        return replace(step, containers=tuple(fit(spec) for spec in step.containers))

    def _full(self, spec: ContainerSpec) -> ContainerSpec:
        kind = "can" if spec.nominal_g else "refillable_cylinder"
        full_g = spec.nominal_g or spec.content_g
        free = [held["label"] for held in self._alike(kind, spec) if held["left_g"] == full_g]
        label = free[0] if free else self._added("K" if spec.nominal_g else "C", kind, spec, full_g=full_g)
        self._given.add(label)
        return replace(spec, label=label)

    def _recovery(self, spec: ContainerSpec) -> ContainerSpec:
        kind = "recovery_cylinder"
        held = next(self._alike(kind, spec), None)
        if held is None:
            return replace(spec, label=self._added("R", kind, spec, start_g=spec.content_g))
        if held["left_g"] <= SENT_ABOVE_G:
            return replace(spec, label=held["label"], content_g=held["left_g"])
        away_g = held["left_g"] - spec.content_g
        Containers(self._store).sent(held["label"], away_g, *FACILITY, at_utc=None, note=NOTE)
        return replace(spec, label=held["label"])

    def _alike(self, kind: str, spec: ContainerSpec) -> Iterator[dict]:
        for held in ledger(self._store.reader()):
            same = (held["kind"], held["tare_g"], held["refrigerant"]) == (kind, spec.tare_g, self._refrigerant)
            if same and held["label"] not in self._given:
                yield held

    def _added(self, letter: str, kind: str, spec: ContainerSpec, **holds: float) -> str:
        known = {held["label"] for held in ledger(self._store.reader())}
        label = next(label for k in range(1, len(known) + 2) if (label := f"DEMO-{letter}{k}") not in known)
        capacity_g = spec.volume_ml if kind == "recovery_cylinder" else None  # a millilitre of water weighs a gram
        known = {"tare_g": spec.tare_g, "water_capacity_g": capacity_g, "note": NOTE}
        Containers(self._store).add(label, kind, self._refrigerant, **known, **holds)
        return label
