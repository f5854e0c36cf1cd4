"""The container ledger: what every container held, what was drawn from it or recovered into it, and where it went.

Records of where refrigerant is sent follow 40 CFR 82.42(b): name and address of the facility, kept three years. That
recovered refrigerant does not go into a disposable container follows 49 CFR 178.65(i) (no refilling).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from logger.measure.container_limit import most_g
from logger.measure.refrigerants import UnknownRefrigerant
from logger.record.errors import StoreError
from logger.record.reader import StoreReader
from logger.record.store import Store

LONGEST_LABEL = 80
KINDS = ("can", "disposable_cylinder", "refillable_cylinder", "recovery_cylinder")
_NO_REFILL = ("can", "disposable_cylinder")
_SLACK_G = 15.0
"""How far below empty a weighing may take the ledger before it is called wrong; common practice, no source."""

_LEDGER = """
SELECT * FROM container_list JOIN (SELECT label AS l, start_g, note, retest_due, water_capacity_g, air_check
    FROM container) ON l = label"""
_MOVEMENTS = """
SELECT kind, mass_g, session_id, facility, address, note, at_utc FROM movement WHERE label = ? ORDER BY id"""
_INSERT = """
INSERT INTO movement (label, kind, mass_g, session_id, facility, address, note, at_utc)
VALUES (?, ?, ?, ?, ?, ?, ?, ?)"""
_STAMPED = """
UPDATE container SET tare_g = coalesce(?, tare_g), water_capacity_g = coalesce(?, water_capacity_g),
    retest_due = coalesce(?, retest_due) WHERE label = ?"""
_REPLACE = "DELETE FROM movement WHERE label = ? AND kind = ? AND session_id = ?"
_NEW_CONTAINER = """
INSERT INTO container (label, kind, refrigerant, tare_g, full_g, start_g, note, retest_due, water_capacity_g)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"""


class ContainerError(StoreError):
    """The ledger cannot take this; one line that names the container and the mend."""


def ledger(reader: StoreReader) -> list[dict]:
    """Every container: label, kind, refrigerant, tare_g, full_g (net, when full), start_g, left_g, note, retest_due,
    water_capacity_g, air_check (the last check for air, see `Containers.air_checked`), recovered_g, drawn_g, sent_g
    (sums of its movements, positive), most_g and room_g: what it may hold (80 % of its volume), and what more it takes
    (None where its water capacity is not known)."""
    containers = reader.rows(f"{_LEDGER} ORDER BY label")
    return [_with_sums(reader, dict(row)) for row in containers]


def movements(reader: StoreReader, label: str) -> list[dict]:
    """All that went in and out of one container, in order: kind, mass_g (out of it negative), session_id, facility,
    address, note, at_utc."""
    return [dict(row) for row in reader.rows(_MOVEMENTS, label)]


def check_by_scale(reader: StoreReader, label: str, gross_g: float) -> dict:
    """What the scale says beside what the ledger says: left_by_ledger_g, left_by_scale_g, discrepancy_g (scale less
    ledger); the latter two None, with `why`, where the tare is not known or the scale shows less than it."""
    container = _container(reader, label)
    found = {"label": label, "left_by_ledger_g": container["left_g"], "left_by_scale_g": None, "discrepancy_g": None}
    if container["tare_g"] is None:
        return {**found, "why": "its tare is not known"}
    left_g = gross_g - container["tare_g"]
    if left_g < -_SLACK_G:
        return {
            **found,
            "why": f"the scale shows {-left_g:.0f} g less than its tare: another container, or a wrong tare",
        }
    return {**found, "left_by_scale_g": left_g, "discrepancy_g": left_g - container["left_g"], "why": None}


def check_drawn(reader: StoreReader, label: str, mass_g: float, session_id: str | None) -> None:
    """Raises ContainerError where `mass_g` cannot have been drawn from it."""
    container = _fit(reader, label, mass_g, session_id)
    sql = "SELECT coalesce(sum(mass_g), 0) AS g FROM movement WHERE label = ? AND kind = 'drawn' AND session_id = ?"
    before_g = container["left_g"] - reader.rows(sql, label, session_id)[0]["g"]
    _refuse_below_empty(label, before_g - mass_g)


def check_recovered(reader: StoreReader, label: str, mass_g: float, session_id: str | None) -> None:
    """Raises ContainerError where `mass_g` cannot have been recovered into it."""
    container = _fit(reader, label, mass_g, session_id)
    if container["kind"] in _NO_REFILL:
        raise ContainerError(f"container {label}: a {_words(container['kind'])} is not refilled: recover into another")


class Containers:
    """Adding to the ledger; the store must be open for writing. Every method raises ContainerError."""

    def __init__(self, store: Store):
        self._store = store
        self._reader = store.reader()

    def add(
        self,
        label: str,
        kind: str,
        refrigerant: str,
        tare_g: float | None = None,
        full_g: float | None = None,
        start_g: float | None = None,
        note: str = "",
        retest_due: str | None = None,
        water_capacity_g: float | None = None,
    ) -> None:
        """A container that was not known; start_g is what it holds now (full where not said, empty for recovery)."""
        if not label.strip():
            raise ContainerError("a container needs a label: write or scan one")
        if not label.isprintable() or len(label) > LONGEST_LABEL or label.strip() in (".", ".."):
            raise ContainerError(f"container {label!r:.99}: not a label: write {LONGEST_LABEL} letters at most")
        if kind not in KINDS:
            raise ContainerError(f"container {label}: kind {kind!r} is not known: write one of {', '.join(KINDS)}")
        masses = {"tare_g": tare_g, "full_g": full_g, "start_g": start_g, "water_capacity_g": water_capacity_g}
        for name, mass_g in masses.items():
            if mass_g is not None and not (math.isfinite(mass_g) and mass_g >= 0):
                raise ContainerError(f"container {label}: {name} {mass_g!r} is not a mass: write grams, 0 or more")
        if self._reader.rows("SELECT 1 FROM container WHERE label = ?", label):
            raise ContainerError(f"container {label}: it is in the ledger already: give this one another label")
        if start_g is None:
            start_g = 0.0 if kind == "recovery_cylinder" or full_g is None else full_g
        row = (label, kind, refrigerant, tare_g, full_g, start_g, note, retest_due, water_capacity_g)
        self._store.run([(_NEW_CONTAINER, [row])])

    def drawn(self, label: str, mass_g: float, session_id: str | None = None, at_utc: str | None = None) -> None:
        """Refrigerant charged from it; booked once a session, a later figure of the same session in its place."""
        check_drawn(self._reader, label, mass_g, session_id)
        self._book(label, "drawn", -mass_g, session_id, at_utc)

    def recovered(self, label: str, mass_g: float, session_id: str | None = None, at_utc: str | None = None) -> None:
        """Refrigerant recovered into it; booked as `drawn` is."""
        check_recovered(self._reader, label, mass_g, session_id)
        self._book(label, "recovered", mass_g, session_id, at_utc)

    def sent(self, label: str, mass_g: float, facility: str, address: str, at_utc: str | None, note: str = "") -> None:
        """Stock that leaves, and to whom."""
        container = _fit(self._reader, label, mass_g, None)
        if not facility.strip() or not address.strip():
            raise ContainerError(f"container {label}: write the name and the address of the facility it is sent to")
        _refuse_below_empty(label, container["left_g"] - mass_g)
        self._book(label, "sent", -mass_g, None, at_utc, facility, address, note)

    def corrected(self, label: str, left_g: float, note: str, at_utc: str | None = None) -> None:
        """What it really holds, by weighing; the note says why the ledger was wrong."""
        container = _container(self._reader, label)
        if not (math.isfinite(left_g) and left_g >= 0):
            raise ContainerError(f"container {label}: {left_g!r} is not a mass: write the grams left, 0 or more")
        if not note.strip():
            raise ContainerError(f"container {label}: write why the ledger is corrected")
        self._book(label, "corrected", left_g - container["left_g"], None, at_utc, note=note)

    def stamped(self, label: str, tare_g: float | None, water_capacity_g: float | None, retest_due: str | None) -> None:
        """What is stamped on it, read again; None keeps what was known."""
        _container(self._reader, label)
        for name, mass_g in (("tare_g", tare_g), ("water_capacity_g", water_capacity_g)):
            if mass_g is not None and not (math.isfinite(mass_g) and mass_g > 0):
                raise ContainerError(f"container {label}: {name} {mass_g!r} is not a mass: write grams above 0")
        row = (tare_g, water_capacity_g, retest_due, label)
        self._store.run([(_STAMPED, [row])])

    def air_checked(self, label: str, check: Mapping) -> None:
        """Keep a check for air in place of the one before: verdict, why, excess_pa, uncertainty_pa, gauge_kpa, temp_c,
        at_utc."""
        _container(self._reader, label)
        told = json.dumps(dict(check), allow_nan=False)
        self._store.run([("UPDATE container SET air_check = ? WHERE label = ?", [(told, label)])])

    def _book(
        self,
        label: str,
        kind: str,
        mass_g: float,
        session_id: str | None,
        at_utc: str | None,
        facility: str | None = None,
        address: str | None = None,
        note: str = "",
    ) -> None:
        row = (label, kind, mass_g, session_id, facility, address, note, at_utc)
        self._store.run([(_REPLACE, [(label, kind, session_id)]), (_INSERT, [row])])


def _fit(reader: StoreReader, label: str, mass_g: float, session_id: str | None) -> dict:
    container = _container(reader, label)
    if not (math.isfinite(mass_g) and mass_g > 0):
        raise ContainerError(f"container {label}: {mass_g!r} is not a mass: write grams above 0")
    found = reader.rows("SELECT refrigerant FROM session WHERE session_id = ?", session_id)
    if found:
        check_refrigerant(reader, label, session_id, found[0]["refrigerant"])
    return container


def check_refrigerant(reader: StoreReader, label: str, session_id: str, refrigerant: str) -> None:
    """Raises ContainerError where it is not in the ledger, or holds another refrigerant than the session is of."""
    container = _container(reader, label)
    if refrigerant != container["refrigerant"]:
        raise ContainerError(
            f"container {label}: it holds {container['refrigerant']}, session {session_id} is of {refrigerant}: "
            "check the label"
        )


def _refuse_below_empty(label: str, left_g: float) -> None:
    if left_g < -_SLACK_G:
        raise ContainerError(
            f"container {label}: that is {-left_g:.0f} g more than it holds, below its tare: "
            "check the label, or weigh it and correct the ledger"
        )


def _container(reader: StoreReader, label: str) -> dict:
    rows = reader.rows(f"{_LEDGER} WHERE label = ?", label)
    if not rows:
        raise ContainerError(f"container {label}: it is not in the ledger: add it first")
    return dict(rows[0])


def _with_sums(reader: StoreReader, container: dict) -> dict:
    del container["l"]
    sums = dict.fromkeys(("drawn", "recovered", "sent"), 0.0)
    for movement in movements(reader, container["label"]):
        if movement["kind"] in sums:
            sums[movement["kind"]] += abs(movement["mass_g"])
    check = json.loads(container["air_check"]) if container["air_check"] else None
    return {**container, "air_check": check, **_limits(container), **{f"{kind}_g": g for kind, g in sums.items()}}


def _limits(container: Mapping) -> dict:
    refilled = container["kind"] not in _NO_REFILL
    try:
        most = most_g(container["refrigerant"], container["water_capacity_g"]) if refilled else None
    except UnknownRefrigerant:
        most = None
    return {"most_g": most, "room_g": None if most is None else most - container["left_g"]}


def _words(kind: str) -> str:
    return kind.replace("_", " ")
