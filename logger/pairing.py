"""Pairing: a short code shown on the cart's own terminal is exchanged for a token; only the token's hash is kept."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import logging
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

from logger.paired_devices import PairedDevices

log = logging.getLogger(__name__)

PAIRING_FILE = "paired.json"
CODE_DIGITS = 6
CODE_LIFE_S = 600.0
TRIES = 5
SHORTEST_WAIT_S, LONGEST_WAIT_S = 60.0, 3600.0
FORGIVEN_S = 3600.0
"""So long without a wrong code, and those before are forgotten."""
TOKEN_BYTES = 32
LONGEST_NAME = 80
SEEN_KEPT_S = 3600.0
"""How often a device's last visit is written down: a card wears."""


class PairingError(PermissionError):
    """The code was not taken; the message says why. `retry_after_s` is how long to wait, 0 when at once."""

    def __init__(self, message: str, retry_after_s: float = 0.0):
        super().__init__(message)
        self.retry_after_s = retry_after_s


class Pairing:
    """Who may change things on this cart. Safe to use from many threads, and beside other processes on the same file.

    file: where the hashes live (JSON, readable by its owner only). monotonic_s: seconds on a clock that never jumps.
    utc: the time of day as text, None while it is not known.
    """

    def __init__(
        self,
        file: Path,
        monotonic_s: Callable[[], float] = time.monotonic,
        utc: Callable[[], str | None] = lambda: None,
    ):
        self._kept = PairedDevices(file)
        self._now, self._utc = monotonic_s, utc
        self._lock = threading.Lock()
        self._seen: dict[str, str] = {}
        self._seen_kept_s: dict[str, float] = {}
        self._wrong, self._last_wrong_s, self._shut_until_s = 0, float("-inf"), float("-inf")
        self._code, self._code_made_s = "", float("-inf")

    def code(self) -> str:
        """The code to show now: six digits, good for one exchange and at most ten minutes."""
        with self._lock:
            return self._current_code()

    def exchange(self, code: str, name: str = "") -> str:
        """A new token (hexadecimal, 32 random bytes) for the code shown. Raises PairingError.

        Every fifth wrong code changes the code and closes the door: for a minute, then for twice as long each time, an
        hour at most, until a right one comes or none for an hour. Who guesses for a whole month gets in with a chance
        of less than one in two hundred.
        """
        with self._lock:
            self._refuse_haste()
            given = "".join(code.split()).encode("utf-8", "surrogatepass")
            if not hmac.compare_digest(given, self._current_code().encode()):
                self._note_wrong()
                raise PairingError("this is not the code shown on the cart's terminal: read it again")
            token = secrets.token_hex(TOKEN_BYTES)
            try:
                self._add(token, name)
            except OSError as error:
                raise PairingError(f"the cart cannot keep it: {error.strerror}: free some space on its card") from None
            self._code, self._wrong = "", 0
            return token

    def device_of(self, token: str | None) -> str | None:
        """The id of the device to which this token was given, None when it is nobody's or revoked; the time it takes
        does not tell how near a guess came."""
        hashed = _hash(token or "")
        with self._lock:
            found = None
            for device_id, device in self._kept.known().items():
                if hmac.compare_digest(hashed, device["sha256"]):
                    found = device_id
            if found is not None:
                self._note_seen(found)
            return found

    def allows(self, token: str | None) -> bool:
        """Whether this token was given out and not revoked."""
        return self.device_of(token) is not None

    def devices(self) -> list[dict]:
        """Paired devices as {"device_id", "name", "paired_utc", "seen_utc"}; raises nothing."""
        with self._lock:
            return [_told(key, device, self._seen.get(key)) for key, device in self._kept.known().items()]

    def revoke(self, device_id: str) -> bool:
        """Forget a device; whether there was one of that id. Raises OSError when the file cannot be written."""
        with self._lock:
            if device_id not in self._kept.known():
                return False
            with self._kept.changing() as devices:
                return devices.pop(device_id, None) is not None

    def _current_code(self) -> str:
        if not self._code or self._now() - self._code_made_s > CODE_LIFE_S:
            self._code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
            self._code_made_s = self._now()
        return self._code

    def _refuse_haste(self) -> None:
        wait_s = self._shut_until_s - self._now()
        if wait_s > 0:
            wait = f"{wait_s:.0f} s" if wait_s < 120 else f"{wait_s / 60:.0f} min, or start the logger anew,"
            raise PairingError(f"too many wrong codes: wait {wait} and read the new code", wait_s)

    def _note_wrong(self) -> None:
        now = self._now()
        if now - max(self._last_wrong_s, self._shut_until_s) > FORGIVEN_S:
            self._wrong = 0
        self._wrong, self._last_wrong_s = self._wrong + 1, now
        if self._wrong % TRIES == 0:
            wait_s = min(SHORTEST_WAIT_S * 2 ** min(self._wrong // TRIES - 1, 16), LONGEST_WAIT_S)
            self._code, self._shut_until_s = "", now + wait_s
            log.warning("%d wrong pairing codes in a row: none is taken for %.0f s", self._wrong, wait_s)

    def _add(self, token: str, name: str) -> None:
        """A name is shown on terminals and pages: nothing that cannot be printed stays in it."""
        shown = "".join(letter for letter in name if letter.isprintable()).strip()[:LONGEST_NAME]
        utc = self._utc()
        with self._kept.changing() as devices:
            new = {"name": shown, "sha256": _hash(token), "paired_utc": utc, "seen_utc": utc}
            devices[secrets.token_hex(4)] = new

    def _note_seen(self, device_id: str) -> None:
        utc, now = self._utc(), self._now()
        if utc is None:
            return
        self._seen[device_id] = utc
        if now - self._seen_kept_s.get(device_id, float("-inf")) < SEEN_KEPT_S:
            return
        self._seen_kept_s[device_id] = now
        with contextlib.suppress(OSError), self._kept.changing() as devices:
            if device_id in devices:
                devices[device_id] = {**devices[device_id], "seen_utc": utc}


def _told(device_id: str, device: dict, seen_utc: str | None) -> dict:
    times = {"paired_utc": device["paired_utc"], "seen_utc": seen_utc or device["seen_utc"]}
    return {"device_id": device_id, "name": device["name"], **times}


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
