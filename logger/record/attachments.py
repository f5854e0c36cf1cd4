"""Photos of the placard and the like, kept with their session."""

from __future__ import annotations

from logger.record.errors import StoreError
from logger.record.store import Store

LARGEST_BYTES = 8 << 20
_BEGINNINGS = {"image/jpeg": b"\xff\xd8\xff", "image/png": b"\x89PNG\r\n\x1a\n", "image/webp": b"RIFF"}
_INSERT = """
INSERT INTO attachment (session, kind, media_type, t_s, data)
SELECT id, ?, ?, ?, ? FROM session WHERE session_id = ?"""


def attach(store: Store, session_id: str, kind: str, media_type: str, data: bytes, t_s: float | None = None) -> None:
    """Keep a picture (JPEG, PNG or WebP, at most 8 MB); `kind` says of what, such as "placard". Raises StoreError."""
    if media_type not in _BEGINNINGS or not data.startswith(_BEGINNINGS[media_type]):
        raise StoreError(f"the picture is not {media_type or 'of a known type'}: send JPEG, PNG or WebP")
    if len(data) > LARGEST_BYTES:
        raise StoreError(f"the picture has {len(data) >> 20} MB: send one of at most {LARGEST_BYTES >> 20} MB")
    store.reader().session(session_id)
    store.run([(_INSERT, [(kind, media_type, t_s, data, session_id)])])
