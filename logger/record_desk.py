"""What people add to the record beside the readings: notes of the job, photos, decisions, the container ledger."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import asdict

from logger.measure.atmosphere import Ambient
from logger.measure.container_air import container_air
from logger.measure.marks import Mark
from logger.record.attachments import attach
from logger.record.containers import ContainerError, Containers, ledger
from logger.record.decisions import decide
from logger.record.store import Store
from logger.session.job import check_job, merge_job
from logger.session.review import review
from logger.wallclock import WallClock

IN_VEHICLE = ("vin", "registration")


class JobRefusedError(ValueError):
    """Notes that cannot be kept; `fields` has one line for each key, and nothing was kept."""

    def __init__(self, fields: Mapping[str, str]):
        super().__init__("; ".join(fields.values()))
        self.fields = dict(fields)


class RecordDesk:
    """Orders of a person at the page, from any thread; each raises ValueError, one line, when it cannot be done.

    mark: tells the open session something, as CartPort.mark does.
    """

    def __init__(self, store: Store, wall: WallClock, mark: Callable[[Mapping], float]):
        self._store, self._reader, self._wall, self._mark = store, store.reader(), wall, mark
        self._containers = Containers(store)
        self._lock = threading.Lock()

    def note_job(self, session_id: str, told: Mapping) -> dict:
        """Add to what the job needs noted (keys of `logger.session.job`), of the open session or a closed one; None
        takes a key back. What was kept. Raises JobRefusedError naming every key that cannot be kept."""
        kept = checked(told)
        with self._lock:
            self._refuse_signed(session_id)
            if self._store.open_session_id() == session_id:
                self._mark({"mark": "note", "detail": {"job": kept}})
            else:
                self._note_later(session_id, kept)
            self._name_vehicle(session_id, kept)
        return kept

    def keep_photo(self, session_id: str, kind: str, media_type: str, data: bytes) -> int:
        """Keep a picture with its session; its number."""
        self._refuse_signed(session_id)
        attach(self._store, session_id, kind, media_type, data)
        return self._reader.session(session_id)["attachments"][-1]["id"]

    def decide(self, session_id: str, decision: str, reviewer: str, note: str) -> None:
        """Sign a closed session off, or return it with a note."""
        decide(self._store, session_id, decision, reviewer, note, self._now())

    def add_container(self, label: str, kind: str, refrigerant: str, **known: object) -> None:
        """A container that was not known; known: tare_g, full_g, start_g, note, retest_due,
        water_capacity_g."""
        if any(character in "/\\?#%" for character in label):
            raise ValueError(f"container {label}: a label goes without / \\ ? # %: write it otherwise")
        self._containers.add(label.strip(), kind, refrigerant, **known)

    def correct_container(self, label: str, left_g: float, note: str) -> None:
        """What it really holds."""
        self._containers.corrected(label, left_g, note, self._now())

    def stamp_container(
        self, label: str, tare_g: float | None, water_capacity_g: float | None, retest_due: str | None
    ) -> None:
        """What is stamped on it, read again."""
        self._containers.stamped(label, tare_g, water_capacity_g, retest_due)

    def check_container_air(
        self, label: str, gauge_kpa: float, temp_c: float, ambient: Ambient, soaked_s: float | None, zeroed: bool
    ) -> dict:
        """Judge by pressure and temperature whether there is air in it, and keep that: verdict, why and the figures."""
        held = next((row for row in ledger(self._reader) if row["label"] == label), None)
        if held is None:
            raise ContainerError(f"container {label}: it is not in the ledger: add it first")
        found = container_air(held["refrigerant"], gauge_kpa, temp_c, ambient, soaked_s, zeroed)
        check = {**asdict(found), "gauge_kpa": gauge_kpa, "temp_c": temp_c, "at_utc": self._now()}
        self._containers.air_checked(label, check)
        return check

    def send_container(self, label: str, mass_g: float, facility: str, address: str, note: str = "") -> None:
        """Stock that leaves, and to whom."""
        self._containers.sent(label, mass_g, facility, address, self._now(), note)

    def _now(self) -> str | None:
        return self._wall.text()

    def _refuse_signed(self, session_id: str) -> None:
        if self._reader.session(session_id)["decision"] == "signed":
            raise ValueError(f"session {session_id} is signed off: return it with a note before it is changed")

    def _note_later(self, session_id: str, kept: dict) -> None:
        """As a note told at the end of a session that is over, so that a replay knows it; judged again with it."""
        told = [mark.t_s for mark in self._reader.marks(session_id)]
        end_s = max([self._reader.session(session_id)["duration_s"] or 0.0, *told])
        self._store.add_mark(session_id, Mark(end_s, "note", {"job": kept}))
        if findings := self._reader.findings(session_id):
            findings["job"] = merge_job(findings.get("job") or {}, kept)
            self._store.set_findings(session_id, {**findings, "review": review(findings)})
        self._store.commit()

    def _name_vehicle(self, session_id: str, kept: Mapping) -> None:
        """So that lists and searches find the session by its vehicle."""
        named = {key: kept[key] for key in IN_VEHICLE if key in kept}
        if named:
            vehicle = self._reader.session(session_id)["setup"].get("vehicle") or {}
            self._store.update_session(session_id, {"vehicle": merge_job(vehicle, named)})


def checked(told: Mapping) -> dict:
    """The notes, each checked and cleaned. Raises JobRefusedError."""
    kept: dict = {}
    wrong: dict[str, str] = {}
    for key, value in told.items():
        good, problems = check_job({key: value})
        kept |= good
        wrong |= {str(key): line for line in problems}
    if wrong:
        raise JobRefusedError(wrong)
    return kept
