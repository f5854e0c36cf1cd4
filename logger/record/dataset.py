"""The sessions of many carts as one Parquet data set: what is in it, what comes in, what a review of all needs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from urllib.parse import unquote

import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq

from logger.record.errors import StoreError
from logger.record.export_parquet import VERSION_KEY, write_session
from logger.record.recorded import Recording

_PARTS = ds.partitioning(pa.schema([("cart_id", pa.string()), ("month", pa.string())]), flavor="hive")


class Dataset:
    """The data set in `folder` (see `export_parquet` for its layout), written by one process. Raises OSError."""

    def __init__(self, folder: Path):
        self._folder = folder
        self._places: dict[tuple[str, str], Path] = {}
        self._versions: dict[tuple[str, str], str] = {}
        for path in sorted((folder / "sessions").glob("cart_id=*/month=*/*.parquet")):
            key = (unquote(path.parent.parent.name.removeprefix("cart_id=")), unquote(path.stem))
            self._places[key] = path.relative_to(folder / "sessions")
            self._versions[key] = (pq.read_schema(path).metadata or {}).get(VERSION_KEY, b"").decode()

    def version(self, cart_id: str, session_id: str) -> str | None:
        """Of the session as it is here, None when it is not."""
        return self._versions.get((cart_id, session_id))

    def take(self, recording: Recording, session: Mapping, findings: Mapping | None, version: str) -> None:
        """Put a session in, in place of an earlier version of it."""
        key = (session["cart_id"], session["session_id"])
        place = write_session(recording, session, findings, self._folder, version)
        before = self._places.get(key)
        if before is not None and before != place:
            for part in ("sessions", "readings"):
                (self._folder / part / before).unlink(missing_ok=True)
        self._places[key], self._versions[key] = place, version


def dataset_gists(folder: Path) -> Iterator[tuple[dict, dict]]:
    """Summary (session_id, cart_id, started_utc, vehicle) and findings, newest first, of the sessions that have some.
    Raises StoreError when there is no data set."""
    if not (folder / "sessions").is_dir():
        raise StoreError(f"{folder}: no data set is here: make one with `tarebook collect` or `tarebook export`")
    columns = ["session_id", "cart_id", "started_utc", "setup", "findings"]
    try:
        table = ds.dataset(folder / "sessions", format="parquet", partitioning=_PARTS).to_table(columns=columns)
    except (pa.ArrowException, OSError) as error:
        raise StoreError(f"{folder}: the data set cannot be read: {str(error).splitlines()[0]}") from None
    rows = [row for row in table.to_pylist() if row["findings"]]
    rows.sort(key=lambda row: (row["started_utc"] or "9999", row["session_id"]), reverse=True)
    for row in rows:
        vehicle = json.loads(row["setup"]).get("vehicle") or {}
        summary = {key: row[key] for key in ("session_id", "cart_id", "started_utc")}
        yield {**summary, "vehicle": vehicle}, json.loads(row["findings"])
