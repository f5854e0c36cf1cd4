"""What is needed to find out afterwards why a cart did not do its work, in one zip, and no secret in it.

In it: versions, the machine, files with sizes and modes, the newest sessions without vehicle or person, their alerts,
the cart file with what opens doors blanked. Never in it: tokens or their hashes, passwords, keys, readings.
"""

from __future__ import annotations

import json
import os
import platform
import re
import shutil
import sqlite3
import stat
import sys
import zipfile
from importlib.metadata import distributions
from pathlib import Path

from logger.paths import store_path
from logger.record.errors import StoreError
from logger.record.reader import StoreReader

SESSIONS = 20
BLANKED = re.compile(r"^(\s*(?:\w*(?:password|token|secret|key|user)\w*)\s*=).*$", re.IGNORECASE | re.MULTILINE)
TOLD = ("session_id", "cart_id", "started_utc", "open", "refrigerant", "target_g", "delivered_g", "duration_s")


def write_bundle(path: Path, data_dir: Path, cart_file: Path | None = None) -> None:
    """Write the zip, readable by its owner only. Raises OSError where it cannot, or `cart_file` cannot be read."""
    parts = {"machine.json": _text(_machine()), "files.json": _text(_files(data_dir))}
    parts["store.json"] = _text(_store(store_path(data_dir)))
    if cart_file is not None:
        parts["cart.toml"] = without_secrets(cart_file.read_text("utf-8", "replace"))
    with open(path, "wb", opener=lambda name, flags: os.open(name, flags, 0o600)) as file:
        os.fchmod(file.fileno(), 0o600)
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, text in parts.items():
                archive.writestr(name, text)


def without_secrets(text: str) -> str:
    """A TOML text with the values of keys that may open a door blanked."""
    return BLANKED.sub(r'\1 "(left out)"', text)


def _text(value: object) -> str:
    return json.dumps(value, indent=1, ensure_ascii=False)


def _machine() -> dict:
    return {
        "python": sys.version,
        "system": platform.platform(),
        "sqlite": sqlite3.sqlite_version,
        "packages": sorted(f"{each.name} {each.version}" for each in distributions()),
    }


def _files(folder: Path) -> dict:
    if not folder.is_dir():
        return {"folder": "there is none"}
    found = {
        each.name: {"bytes": each.stat().st_size, "mode": stat.filemode(each.stat().st_mode)}
        for each in sorted(folder.iterdir())
    }
    return {"free_bytes": shutil.disk_usage(folder).free, "files": found}


def _store(path: Path) -> dict:
    if not path.exists():
        return {"store": "there is none"}
    try:
        reader = StoreReader(path)
        newest = reader.sessions(SESSIONS)
        return {
            "sessions": [
                {**{key: each.get(key) for key in TOLD}, "alerts": reader.alerts(each["session_id"])} for each in newest
            ]
        }
    except (StoreError, sqlite3.DatabaseError) as error:
        return {"store": f"cannot be read: {error}"}
