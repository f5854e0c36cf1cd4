"""The tables and views of the store.

Raw readings are blobs (chunks); everything else is small tables of plain values, so that any SQLite tool can list
sessions, alerts and containers, and plot the one-second readings of the view `reading_1s`.
"""

from __future__ import annotations

APPLICATION_ID = 0x54424B31
"""Marks a SQLite file as a store of this program."""

_SESSION = """
CREATE TABLE session (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    session_id TEXT NOT NULL UNIQUE,
    cart_id TEXT NOT NULL,
    started_utc TEXT,
    open INTEGER NOT NULL DEFAULT 1,
    imported INTEGER NOT NULL DEFAULT 0,
    refrigerant TEXT,
    target_g REAL,
    delivered_g REAL,
    uncertainty_g REAL,
    within_placard INTEGER,
    duration_s REAL NOT NULL DEFAULT 0,
    vehicle TEXT NOT NULL DEFAULT '{}',
    words TEXT NOT NULL DEFAULT '',
    setup TEXT NOT NULL,
    clock TEXT NOT NULL DEFAULT '{}',
    findings TEXT,
    digest TEXT
)"""

_CHANNEL = """
CREATE TABLE channel (
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    name TEXT NOT NULL,
    unit TEXT NOT NULL,
    rate_hz REAL NOT NULL,
    points TEXT,
    PRIMARY KEY (session, number)
) WITHOUT ROWID"""

_CHUNK = """
CREATE TABLE chunk (
    id INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    settled INTEGER NOT NULL,
    first_t_s REAL NOT NULL,
    last_t_s REAL NOT NULL,
    readings INTEGER NOT NULL,
    data BLOB NOT NULL
)"""

_SECOND = """
CREATE TABLE second (
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    channel INTEGER NOT NULL,
    second INTEGER NOT NULL,
    low REAL NOT NULL,
    high REAL NOT NULL,
    mean REAL NOT NULL,
    readings INTEGER NOT NULL,
    PRIMARY KEY (session, channel, second)
) WITHOUT ROWID"""

_MARK = """
CREATE TABLE mark (
    id INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    t_s REAL NOT NULL,
    mark TEXT NOT NULL,
    detail TEXT NOT NULL
)"""

_ALERT = """
CREATE TABLE alert (
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    seq INTEGER NOT NULL,
    t_s REAL NOT NULL,
    code TEXT NOT NULL,
    subject TEXT NOT NULL DEFAULT '',
    severity TEXT NOT NULL,
    message TEXT NOT NULL,
    state TEXT NOT NULL,
    acknowledged_t_s REAL,
    cleared_t_s REAL,
    PRIMARY KEY (session, seq)
) WITHOUT ROWID"""

_OUTBOX = """
CREATE TABLE outbox (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    alert_seq INTEGER NOT NULL
)"""

_SETTING = "CREATE TABLE setting (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID"

_DECISION = """
CREATE TABLE decision (
    id INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    decision TEXT NOT NULL CHECK (decision IN ('signed', 'returned')),
    reviewer TEXT NOT NULL,
    note TEXT NOT NULL,
    at_utc TEXT
)"""

_ATTACHMENT = """
CREATE TABLE attachment (
    id INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session(id) ON DELETE CASCADE,
    kind TEXT NOT NULL,
    media_type TEXT NOT NULL,
    t_s REAL,
    data BLOB NOT NULL
)"""

_CONTAINER = """
CREATE TABLE container (
    label TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    refrigerant TEXT NOT NULL,
    tare_g REAL,
    full_g REAL,
    start_g REAL NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    retest_due TEXT
) WITHOUT ROWID"""

_MOVEMENT = """
CREATE TABLE movement (
    id INTEGER PRIMARY KEY,
    label TEXT NOT NULL REFERENCES container(label),
    kind TEXT NOT NULL CHECK (kind IN ('drawn', 'recovered', 'sent', 'corrected')),
    mass_g REAL NOT NULL,
    session_id TEXT,
    facility TEXT,
    address TEXT,
    note TEXT NOT NULL DEFAULT '',
    at_utc TEXT
)"""

_INDEXES = (
    "CREATE UNIQUE INDEX one_open_session ON session(open) WHERE open = 1",
    "CREATE INDEX chunk_by_session ON chunk(session, id)",
    "CREATE INDEX mark_by_session ON mark(session, id)",
    "CREATE INDEX decision_by_session ON decision(session, id)",
    "CREATE INDEX attachment_by_session ON attachment(session, id)",
    "CREATE INDEX movement_by_label ON movement(label, id)",
)

_VIEWS = (
    """
CREATE VIEW session_list AS
SELECT session_id, cart_id, started_utc, open, refrigerant, target_g, delivered_g, uncertainty_g, within_placard,
    duration_s, json_extract(vehicle, '$.registration') AS registration, json_extract(vehicle, '$.vin') AS vin,
    (SELECT count(*) FROM alert WHERE alert.session = session.id) AS alerts,
    (SELECT decision FROM decision WHERE decision.session = session.id ORDER BY id DESC LIMIT 1) AS decision
FROM session""",
    """
CREATE VIEW reading_1s AS
SELECT session_id, name AS channel, unit, second AS t_s, unixepoch(started_utc) + second AS unix_s, low, high, mean,
    readings
FROM second
    JOIN session ON session.id = second.session
    JOIN channel ON channel.session = second.session AND channel.number = second.channel""",
    """
CREATE VIEW alert_list AS
SELECT session_id, seq, t_s, unixepoch(started_utc) + t_s AS unix_s, code, subject, severity, message, state,
    acknowledged_t_s, cleared_t_s
FROM alert JOIN session ON session.id = alert.session""",
    """
CREATE VIEW mark_list AS
SELECT session_id, t_s, unixepoch(started_utc) + t_s AS unix_s, mark, detail
FROM mark JOIN session ON session.id = mark.session""",
    """
CREATE VIEW container_list AS
SELECT label, kind, refrigerant, tare_g, full_g,
    start_g + coalesce((SELECT sum(mass_g) FROM movement WHERE movement.label = container.label), 0) AS left_g
FROM container""",
)

FIRST = (
    _SESSION,
    _CHANNEL,
    _CHUNK,
    _SECOND,
    _MARK,
    _ALERT,
    _OUTBOX,
    _SETTING,
    _DECISION,
    _ATTACHMENT,
    _CONTAINER,
    _MOVEMENT,
    *_INDEXES,
    *_VIEWS,
)
"""The statements that make an empty store of schema version 1."""


def _named(key: str) -> str:
    """A vehicle's VIN or registration as `logger.session.vehicle_name` takes it, in SQL."""
    return plain_name(f"coalesce(nullif(json_extract(findings, '$.job.{key}'), ''), json_extract(vehicle, '$.{key}'))")


def plain_name(told: str) -> str:
    """SQL that makes two ways of writing a name the same: capitals, no spaces."""
    return f"upper(replace({told}, ' ', ''))"


VIN, REGISTRATION = _named("vin"), _named("registration")
"""An expression's index is used where a query holds the very same text."""

BY_VEHICLE = (
    f"CREATE INDEX session_by_vin ON session({VIN})",
    f"CREATE INDEX session_by_registration ON session({REGISTRATION})",
)
"""What schema version 3 adds: a vehicle's sessions are found without a look at every one."""
