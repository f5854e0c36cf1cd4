"""Sessions in the container ledger: what each labelled container gave or took, once a session, beside the scale."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from logger.record.containers import ContainerError, Containers, check_drawn, check_recovered
from logger.record.errors import StoreError
from logger.record.reader import StoreReader
from logger.record.store import Store
from logger.session.container_stays import ContainerStay, container_stays

Booking = tuple[str, str]
"""Label, and "drawn" or "recovered"."""

_BOOKED = "SELECT label, kind, mass_g FROM movement WHERE session_id = ? AND kind IN ('drawn', 'recovered')"
_TAKE_BACK = "DELETE FROM movement WHERE session_id = ? AND label = ? AND kind = ?"
_PARTS = """
SELECT session_id, json_object('charge', json_extract(findings, '$.charge'),
    'scale_events', json_extract(findings, '$.scale_events')) AS parts
FROM session WHERE findings IS NOT NULL AND open = 0 AND json_array_length(findings, '$.charge.containers') > 0
ORDER BY coalesce(started_utc, '9999') DESC, id DESC LIMIT ?"""
_LAST_WEIGHED = """
SELECT label, session_id, tare_g, start_g + (SELECT sum(mass_g) FROM movement AS m
    WHERE m.label = container.label AND m.id <= last.id) AS left_g, findings
FROM container JOIN (SELECT max(id) AS id, label AS l FROM movement
    WHERE session_id IS NOT NULL GROUP BY label) AS last ON l = label
JOIN movement USING (id, label) JOIN session USING (session_id) WHERE tare_g IS NOT NULL AND findings IS NOT NULL"""


def book_session(store: Store, session_id: str, findings: Mapping, at_utc: str | None = None) -> list[str]:
    """Book what its labelled containers gave and took, in place of what was booked of it before; once more changes
    nothing. One line for each that cannot be booked, the rest is booked all the same."""
    try:
        wanted = _sums(container_stays(findings, store.reader().marks(session_id)))
        booked = {(row["label"], row["kind"]): abs(row["mass_g"]) for row in store.reader().rows(_BOOKED, session_id)}
        stale = [(session_id, *booking) for booking in booked if booking not in wanted]
        if stale:
            store.run([(_TAKE_BACK, stale)])
    except StoreError as error:
        return [str(error)]
    changed = [(booking, mass_g) for booking, mass_g in wanted.items() if booked.get(booking) != mass_g]
    refused = (_refused(store, booking, mass_g, session_id, at_utc) for booking, mass_g in changed)
    return list(dict.fromkeys(line for line in refused if line))


def unbooked(reader: StoreReader, sessions: int = 100) -> list[dict]:
    """Stays of the newest `sessions` that the ledger has no part in: session_id, label (None where none was told),
    on_t_s, off_t_s, drawn_g, recovered_g, why."""
    return [
        {"session_id": session_id, **_shown(stay), "why": why}
        for session_id, stay in _all_stays(reader, sessions)
        for why in _why_not(reader, session_id, stay)
    ]


def weighed(reader: StoreReader) -> dict[str, dict]:
    """Of each container whose tare is known, what the scale showed when it was last booked beside the ledger of then:
    label → session_id, gross_g, left_by_scale_g, left_by_ledger_g, discrepancy_g (scale less ledger)."""
    found = {}
    for row in reader.rows(_LAST_WEIGHED):
        stays = container_stays(json.loads(row["findings"]), reader.marks(row["session_id"]))
        mine = [stay for stay in stays if stay.label == row["label"]]
        if mine:
            by_scale_g = mine[-1].gross_off_g - row["tare_g"]
            found[row["label"]] = {
                "session_id": row["session_id"],
                "gross_g": mine[-1].gross_off_g,
                "left_by_scale_g": by_scale_g,
                "left_by_ledger_g": row["left_g"],
                "discrepancy_g": by_scale_g - row["left_g"],
            }
    return found


def _sums(stays: list[ContainerStay]) -> dict[Booking, float]:
    """What is to be booked; a container that stood there twice is booked with the sum."""
    sums: dict[Booking, float] = {}
    for stay in stays:
        for booking, mass_g in _parts(stay):
            sums[booking] = sums.get(booking, 0.0) + mass_g
    return sums


def _parts(stay: ContainerStay) -> list[tuple[Booking, float]]:
    both = (("drawn", stay.drawn_g), ("recovered", stay.recovered_g))
    return [((stay.label, kind), mass_g) for kind, mass_g in both if stay.label and mass_g > 0.0]


def _refused(store: Store, booking: Booking, mass_g: float, session_id: str, at_utc: str | None) -> str | None:
    label, kind = booking
    try:
        getattr(Containers(store), kind)(label, mass_g, session_id, at_utc)
    except StoreError as error:
        return str(error)
    return None


def _all_stays(reader: StoreReader, sessions: int) -> Iterator[tuple[str, ContainerStay]]:
    for row in reader.rows(_PARTS, sessions):
        for stay in container_stays(json.loads(row["parts"]), reader.marks(row["session_id"])):
            yield row["session_id"], stay


def _why_not(reader: StoreReader, session_id: str, stay: ContainerStay) -> list[str]:
    """Why the ledger has no part in this; nothing where it has all of it."""
    if stay.label is None:
        return ["no label was told for it"]
    booked = {(row["label"], row["kind"]) for row in reader.rows(_BOOKED, session_id)}
    missing = [(booking, mass_g) for booking, mass_g in _parts(stay) if booking not in booked]
    return [_reason(reader, booking, mass_g, session_id) for booking, mass_g in missing]


def _reason(reader: StoreReader, booking: Booking, mass_g: float, session_id: str) -> str:
    label, kind = booking
    try:
        (check_drawn if kind == "drawn" else check_recovered)(reader, label, mass_g, session_id)
    except ContainerError as error:
        return str(error)
    return f"container {label}: it came into the ledger later: weigh it, and correct the ledger if that differs"


def _shown(stay: ContainerStay) -> dict:
    names = ("label", "on_t_s", "off_t_s", "drawn_g", "recovered_g")
    return {name: getattr(stay, name) for name in names}
