"""Pairing: a short code shown on the cart's own terminal is exchanged for a token; only the token's hash is kept."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

CODE_DIGITS = 6
CODE_LIFE_S = 600.0
TRIES = 5
TRIES_WINDOW_S = 60.0
TOKEN_BYTES = 32


class PairingError(PermissionError):
    """The code was not taken; the message says why. `retry_after_s` is how long to wait, 0 when at once."""

    def __init__(self, message: str, retry_after_s: float = 0.0):
        super().__init__(message)
        self.retry_after_s = retry_after_s


class Pairing:
    """Who may change things on this cart. Safe to use from many threads.

    file: where the hashes live (JSON, readable by its owner only). monotonic_s: seconds on a clock that never jumps.
    """

    def __init__(self, file: Path, monotonic_s: Callable[[], float] = time.monotonic):
        self._file = Path(file)
        self._now = monotonic_s
        self._lock = threading.Lock()
        self._devices: dict[str, dict] = self._load()
        self._wrong: list[float] = []
        self._code, self._code_made_s = "", float("-inf")

    def code(self) -> str:
        """The code to show now: six digits, good for one exchange and at most ten minutes."""
        with self._lock:
            return self._current_code()

    def exchange(self, code: str, name: str = "") -> str:
        """A new token (hexadecimal, 32 random bytes) for the code shown. Raises PairingError.

        Five wrong codes within a minute close the door for the rest of that minute and change the code.
        """
        with self._lock:
            self._refuse_haste()
            given = "".join(code.split()).encode()
            if not hmac.compare_digest(given, self._current_code().encode()):
                self._note_wrong()
                raise PairingError("this is not the code shown on the cart's terminal: read it again")
            self._code = ""
            token = secrets.token_hex(TOKEN_BYTES)
            self._add(token, name)
            return token

    def allows(self, token: str | None) -> bool:
        """Whether this token was given out and not revoked; the time it takes does not tell how near a guess came."""
        hashed = _hash(token or "")
        with self._lock:
            known = [device["sha256"] for device in self._devices.values()]
        found = False
        for each in known:
            found |= hmac.compare_digest(hashed, each)
        return found

    def devices(self) -> list[dict]:
        """Paired devices as {"device_id", "name"}."""
        with self._lock:
            return [{"device_id": key, "name": device["name"]} for key, device in self._devices.items()]

    def revoke(self, device_id: str) -> bool:
        """Forget a device; whether there was one of that id."""
        with self._lock:
            if self._devices.pop(device_id, None) is None:
                return False
            self._save()
            return True

    def _current_code(self) -> str:
        if not self._code or self._now() - self._code_made_s > CODE_LIFE_S:
            self._code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
            self._code_made_s = self._now()
        return self._code

    def _refuse_haste(self) -> None:
        now = self._now()
        self._wrong = [then for then in self._wrong if now - then < TRIES_WINDOW_S]
        if len(self._wrong) >= TRIES:
            wait_s = TRIES_WINDOW_S - (now - self._wrong[0])
            raise PairingError(f"too many wrong codes: wait {wait_s:.0f} s and read the new code", wait_s)

    def _note_wrong(self) -> None:
        self._wrong.append(self._now())
        if len(self._wrong) >= TRIES:
            self._code = ""

    def _add(self, token: str, name: str) -> None:
        self._devices[secrets.token_hex(4)] = {"name": name[:80], "sha256": _hash(token)}
        self._save()

    def _load(self) -> dict[str, dict]:
        """An unreadable file counts as no device paired: everyone must pair again, nobody gets in."""
        try:
            devices = json.loads(self._file.read_text("utf-8"))["devices"]
            return {str(k): {"name": str(d["name"]), "sha256": str(d["sha256"])} for k, d in devices.items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}

    def _save(self) -> None:
        """Whole or not at all: written beside, synced, moved over."""
        beside = self._file.with_name(self._file.name + ".new")
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
            json.dump({"devices": self._devices}, stream, indent=1)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, self._file)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
